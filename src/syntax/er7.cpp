#include "syntax/er7.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstring>
#include <optional>
#include <string>
#include <vector>

#include "base/utf8.hpp"
#include "syntax/charset.hpp"
#include "syntax/json.hpp"

namespace charpie::syntax {

namespace {

// HL7 table 0211 and what iconv calls it (from memory). Sets that need ISO 2022 escapes are not taken; a
// message that begins with the bytes "MSH" is no UTF-16. "UNICODE" is withdrawn; in practice it stands for
// UTF-8.
struct Charset {
  std::string_view hl7, iconv;
};
constexpr Charset charsets[] = {
    {"ASCII", "US-ASCII"},        {"8859/1", "ISO-8859-1"},   {"8859/2", "ISO-8859-2"},
    {"8859/3", "ISO-8859-3"},     {"8859/4", "ISO-8859-4"},   {"8859/5", "ISO-8859-5"},
    {"8859/6", "ISO-8859-6"},     {"8859/7", "ISO-8859-7"},   {"8859/8", "ISO-8859-8"},
    {"8859/9", "ISO-8859-9"},     {"8859/15", "ISO-8859-15"}, {"ISO IR6", "US-ASCII"},
    {"GB 18030-2000", "GB18030"}, {"KS X 1001", "EUC-KR"},    {"BIG-5", "BIG5"},
    {"UNICODE", "UTF-8"},         {"UNICODE UTF-8", "UTF-8"},
};

constexpr std::string_view versions[] = {"2.3", "2.3.1", "2.4", "2.5",   "2.5.1", "2.6",
                                         "2.7", "2.7.1", "2.8", "2.8.1", "2.8.2"};

constexpr std::string_view oddity_words[] = {
    "an escape sequence is unknown and was kept as it stands",
    "an escape character opens no sequence and was kept as it stands",
    "a hexadecimal escape is no text of the message's character set and was kept as it stands",
    "MSH-18 names no character set and the message is not ASCII; it was read as UTF-8",
    "MSH-12 is none of the versions 2.3 to 2.8.2",
    "a segment's name is not a letter and two letters or digits",
    "an ADD segment continues nothing and was kept",
    "the message says that it goes on (DSC), and what continues it does not follow",
    "a value ends with the truncation character: its end was cut off by the sender",
    "the sender says (\"\") that the value here is to be deleted; nothing was read from it",
};

// Formatting commands of FT (HL7 2.5.1, 2.7.6: from memory); a number may follow.
constexpr std::string_view formatting[] = {"sp", "br", "fi", "nf", "in", "ti", "sk", "ce"};

constexpr char frame_begin = '\x0B';  // MLLP
constexpr char frame_end = '\x1C';

bool is_hex(std::string_view text) {
  return std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'F') || (c >= 'a' && c <= 'f');
  });
}

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
}

// Whether a sequence of that inside stands for itself in a value.
bool is_kept(std::string_view inside) {
  if (inside.empty()) return false;
  const std::string_view rest = inside.substr(1);
  switch (inside.front()) {
    case 'H':
    case 'N':
    case 'E':
    case 'P':
      return rest.empty();
    case 'C':
      return rest.size() == 4 && is_hex(rest);
    case 'M':
      return (rest.size() == 4 || rest.size() == 6) && is_hex(rest);
    case 'X':
      return !rest.empty() && rest.size() % 2 == 0 && is_hex(rest);
    case 'Z':
      return is_hex(rest);
    case '.': {
      if (rest.size() < 2 || rest.size() > 12) return false;
      const char command[] = {lower(rest[0]), lower(rest[1])};
      if (std::find(std::begin(formatting), std::end(formatting), std::string_view(command, 2)) ==
          std::end(formatting)) {
        return false;
      }
      std::string_view number = rest.substr(2);
      if (number.starts_with('+') || number.starts_with('-')) {
        number.remove_prefix(1);
        if (number.empty()) return false;
      }
      return std::all_of(number.begin(), number.end(), [](char c) { return c >= '0' && c <= '9'; });
    }
    default:
      return false;
  }
}

bool may_delimit(char c) {
  const bool letter_or_digit = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
  return c > ' ' && c < '\x7F' && !letter_or_digit && c != '"';
}

std::string_view first_part(std::string_view field, const Er7Delimiters& by) {
  for (const char c : {by.repetition, by.component, by.subcomponent}) {
    if (c != '\0') field = field.substr(0, field.find(c));
  }
  return field;
}

Error refuse(std::string message, std::string mend, std::size_t line = 1, std::size_t column = 1) {
  return {Error::invalid, std::move(message), {}, line, column, std::move(mend)};
}

Result<Er7Delimiters> read_delimiters(std::string_view header) {
  if (!header.starts_with("MSH") || header.size() < 5) {
    return refuse("the message does not begin with MSH and its delimiters",
                  "send MSH-1 and MSH-2, as MSH|^~\\&|");
  }
  Er7Delimiters by;
  by.field = header[3];
  header = header.substr(4, header.find(by.field, 4) - 4);
  char* const others[] = {&by.component, &by.repetition, &by.escape, &by.subcomponent, &by.truncation};
  if (header.empty() || header.size() > std::size(others)) {
    return refuse("MSH-2 holds none or more than five delimiters", "send ^~\\& in MSH-2", 1, 5);
  }
  std::string seen(1, by.field);
  for (std::size_t i = 0; i < std::size(others); ++i) {
    *others[i] = i < header.size() ? header[i] : '\0';
    if (i >= header.size()) continue;
    if (seen.find(header[i]) != std::string::npos) {
      return refuse("one character is two delimiters",
                    "give each delimiter of MSH-1 and MSH-2 a character of its own", 1, 5 + i);
    }
    seen += header[i];
  }
  for (std::size_t i = 0; i < seen.size(); ++i) {
    if (!may_delimit(seen[i])) {
      return refuse("MSH-1 or MSH-2 names a character that cannot delimit", "use punctuation, as MSH|^~\\&|",
                    1, 4 + i);
    }
  }
  return by;
}

std::string_view first_line(std::string_view bytes) {
  return bytes.substr(0, bytes.find_first_of("\r\n"));
}

// Lines that a text has begun; they end with CR, LF or CRLF.
std::size_t line_count(std::string_view text) {
  std::size_t lines = 1;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\r' || (text[i] == '\n' && (i == 0 || text[i - 1] != '\r'))) ++lines;
  }
  return lines;
}

class Reader {
 public:
  Reader(Arena& arena, const Names& names, const Er7Reading& how) : arena_(arena), names_(names), how_(how) {}

  Result<Er7Document> read(std::string_view bytes) {
    if (bytes.size() > how_.limits.message_bytes) {
      return refuse("the message is longer than allowed", "split it, or allow longer messages");
    }
    if (bytes.starts_with("\xEF\xBB\xBF")) bytes.remove_prefix(3);
    if (bytes.starts_with(frame_begin)) bytes.remove_prefix(1);
    auto delimiters = read_delimiters(first_line(bytes));
    if (!delimiters) return delimiters.error();
    by_ = out_.delimiters = *delimiters;
    for (const char c : {by_.field, by_.component, by_.repetition, by_.subcomponent, by_.escape, '\\'}) {
      if (c != '\0') special_[static_cast<unsigned char>(c)] = true;
    }
    if (auto decoded = decode_message(bytes); !decoded) return decoded.error();
    if (auto collected = collect(); !collected) return collected.error();
    out_.root = make(NodeKind::object, 0, out_.text.size());
    Node* segments = add(*out_.root, "segments", NodeKind::array, 0, out_.text.size());
    for (const Segment& one : segments_) {
      parse(one, *segments);
      if (stop_) return *stop_;
    }
    if (std::find(std::begin(versions), std::end(versions), out_.version) == std::end(versions)) {
      note(Er7Oddity::other_version, 0);
    }
    Er7Note* notes = arena_.make_row<Er7Note>(notes_.size());
    if (notes != nullptr) std::copy(notes_.begin(), notes_.end(), notes);
    out_.notes = {notes, notes_.size()};
    return out_;
  }

 private:
  // One segment: a view into the text, or, when ADD continued it, into a text of its own; then `parts` says
  // where in the text each stretch of it stood.
  struct Part {
    std::size_t own, text;
  };
  struct Segment {
    std::string_view text{};
    std::size_t begin = 0, end = 0;
    std::string joined{};
    std::vector<Part> parts{};
  };

  std::size_t line_of(std::size_t offset) const { return position(out_.text, offset).line; }

  Outcome decode_message(std::string_view bytes) {
    const std::string_view header = first_line(bytes);
    // The slash of "8859/1" may be the message's escape character.
    std::string declared(first_part(er7_raw_field(header, 18, by_.field), by_));
    const std::string escaped{by_.escape, 'E', by_.escape};
    for (auto at = declared.find(escaped); by_.escape != '\0' && at != std::string::npos;
         at = declared.find(escaped, at + 1)) {
      declared.replace(at, escaped.size(), 1, by_.escape);
    }
    const std::string_view wanted = declared.empty() ? how_.charset : std::string_view(declared);
    std::string_view charset = er7_charset(wanted);
    if (charset.empty()) charset = wanted.empty() ? "UTF-8" : wanted;
    auto recoder = Recoder::to_utf8(charset);
    if (!recoder) {
      return refuse("the character set of the message is not known (MSH-18, or the option)",
                    "name one of HL7 table 0211 that needs no ISO 2022 escapes, as UNICODE UTF-8 or 8859/1");
    }
    recoder_.emplace(std::move(*recoder));
    out_.charset = arena_.keep(charset);
    std::string recoded;
    std::string_view rest = bytes;
    if (recoder_->is_plain()) {
      rest.remove_prefix(utf8_valid_prefix(bytes));
    } else {
      (void)recoder_->recode(rest, recoded);
    }
    const std::string_view decoded =
        recoder_->is_plain() ? bytes.substr(0, bytes.size() - rest.size()) : std::string_view(recoded);
    if (!rest.empty()) {
      const auto line = line_count(decoded);
      return refuse("the message has a byte that is not of its character set",
                    wanted.empty() ? "name the character set in MSH-18, or by the option"
                                   : "correct MSH-18 or the bytes",
                    line, 1);
    }
    if (!decoded.starts_with("MSH")) {
      return refuse("the message is not in the character set that MSH-18 names", "correct MSH-18");
    }
    // Places in the text are told by the delimiters that stand in it.
    if (!decoded.starts_with(header.substr(0, header.find(by_.field, 4)))) {
      return refuse("the delimiters are other characters in the character set that MSH-18 names",
                    "correct MSH-18, or choose delimiters that the set has");
    }
    if (wanted.empty() &&
        std::any_of(decoded.begin(), decoded.end(), [](char c) { return (c & 0x80) != 0; })) {
      note(Er7Oddity::undeclared_charset, 0);
    }
    char* text = static_cast<char*>(arena_.allocate(decoded.size(), 1));
    char* to = text;
    for (std::size_t i = 0; i < decoded.size();) {
      const char* found = static_cast<const char*>(std::memchr(decoded.data() + i, '\r', decoded.size() - i));
      const std::size_t end =
          found == nullptr ? decoded.size() : static_cast<std::size_t>(found - decoded.data());
      std::memcpy(to, decoded.data() + i, end - i);
      to += end - i;
      if (found == nullptr) break;
      *to++ = '\n';
      i = end + 1;
      if (i < decoded.size() && decoded[i] == '\n') ++i;
    }
    out_.text = {text, static_cast<std::size_t>(to - text)};
    return std::monostate{};
  }

  bool is(const Segment& segment, std::string_view name) const {
    return segment.text.starts_with(name) && (segment.text.size() == 3 || segment.text[3] == by_.field);
  }

  // Lines become segments; what ADD and DSC cut apart comes together.
  Outcome collect() {
    for (std::size_t at = 0; at < out_.text.size();) {
      const std::size_t end = std::min(out_.text.find('\n', at), out_.text.size());
      Segment line{out_.text.substr(at, end - at), at, end, {}, {}};
      at = end + 1;
      if (line.text.starts_with(frame_begin)) {
        line.text.remove_prefix(1);
        ++line.begin;
      }
      if (line.text.ends_with(frame_end)) line.text.remove_suffix(1);
      if (line.text.empty()) continue;
      if (is(line, "MSH") && !segments_.empty()) {
        if (auto continued = continue_message(line); !continued) return continued;
      } else if (is(line, "ADD") && line.text.size() > 4 && may_continue()) {
        append(segments_.back(), line);
      } else {
        segments_.push_back(std::move(line));
      }
    }
    return std::monostate{};
  }

  bool may_continue() const { return segments_.size() > 1 && !is(segments_.back(), "ADD"); }

  Outcome continue_message(const Segment& header) {
    const Segment& last = segments_.back();
    const auto pointer = er7_raw_field(last.text, 1, by_.field);
    if (!is(last, "DSC") || pointer.empty() || er7_raw_field(header.text, 14, by_.field) != pointer) {
      return refuse("a second message begins, and it does not continue this one",
                    "end each message before the next", line_of(header.begin));
    }
    const auto again = read_delimiters(header.text);
    if (!again || !(*again == by_)) {
      return refuse("the message goes on with other delimiters",
                    "use one set of delimiters for all its parts", line_of(header.begin));
    }
    segments_.pop_back();
    if (is(segments_.back(), "ADD") && er7_raw_field(segments_.back().text, 1, by_.field).empty())
      segments_.pop_back();
    return std::monostate{};
  }

  static void append(Segment& segment, const Segment& line) {
    constexpr std::size_t head = 4;  // "ADD|"
    if (segment.parts.empty()) {
      segment.parts.push_back({0, segment.begin});
      segment.joined = segment.text;
    }
    segment.parts.push_back({segment.joined.size(), line.begin + head});
    segment.joined += line.text.substr(head);
    segment.end = line.end;
  }

  std::uint32_t place(const char* at) const {
    const char* text = out_.text.data();
    if (parts_ == nullptr) return static_cast<std::uint32_t>(at - text);
    const auto own = static_cast<std::size_t>(at - joined_);
    auto part = std::upper_bound(parts_->begin(), parts_->end(), own,
                                 [](std::size_t offset, const Part& one) { return offset < one.own; });
    --part;
    return static_cast<std::uint32_t>(part->text + own - part->own);
  }
  std::uint32_t begin_of(std::string_view raw) const { return place(raw.data()); }
  // One past the last byte, in the stretch that this one is in.
  std::uint32_t end_of(std::string_view raw) const {
    return raw.empty() ? begin_of(raw) : place(raw.data() + raw.size() - 1) + 1;
  }

  void note(Er7Oddity kind, std::uint32_t begin) { notes_.push_back({kind, begin}); }

  Node* make(NodeKind kind, std::size_t begin, std::size_t end) {
    if (++nodes_ > how_.limits.nodes && !stop_) {
      stop_ = refuse("the message has more values than allowed", "split it, or allow larger messages",
                     line_of(begin));
    }
    Node* node = arena_.make<Node>();
    node->kind = kind;
    node->begin = static_cast<std::uint32_t>(begin);
    node->end = static_cast<std::uint32_t>(end);
    return node;
  }

  static Node* hang(Node& parent, Node* child) {
    syntax::append(parent, child);
    return child;
  }

  Node* add(Node& parent, std::string_view name, NodeKind kind, std::size_t begin, std::size_t end) {
    Node* node = hang(parent, make(kind, begin, end));
    node->name_text = name;
    node->name = names_.find(name);
    return node;
  }

  // Members named by a number; small ones are looked up once a message.
  Node* add(Node& parent, unsigned number, NodeKind kind, std::string_view raw) {
    Node* node = hang(parent, make(kind, begin_of(raw), end_of(raw)));
    if (number > er7_most_parts && !stop_) {
      stop_ = refuse("a segment has more fields, or a field more components, than allowed",
                     "leave out what is empty", line_of(node->begin));
    }
    if (number < numbers_.size()) {
      Number& known = numbers_[number];
      if (known.text.empty()) known = number_name(std::to_string(number));
      node->name_text = known.text;
      node->name = known.name;
    } else {
      const Number named = number_name(std::to_string(number));
      node->name_text = named.text;
      node->name = named.name;
    }
    return node;
  }

  struct Number {
    std::string_view text{};
    std::uint32_t name = 0;
  };
  Number number_name(const std::string& text) { return {arena_.keep(text), names_.find(text)}; }

  // Walks a segment once, from delimiter to delimiter. Fields and repetitions are made when their first value
  // comes, so that what is empty at an end is never there.
  void parse(const Segment& segment, Node& list) {
    std::string_view text = segment.text;
    parts_ = nullptr;
    if (!segment.parts.empty()) {
      text = arena_.keep(segment.joined);
      joined_ = text.data();
      parts_ = &segment.parts;
    }
    segment_ = hang(list, make(NodeKind::object, segment.begin, segment.end));
    const std::string_view name = text.substr(0, text.find(by_.field));
    Node* named = add(*segment_, "segment", NodeKind::string, segment.begin, segment.begin + name.size());
    named->text = name;
    if (name == "ADD") note(Er7Oddity::stray_continuation, segment_->begin);
    if (name == "DSC" && !er7_raw_field(text, 1, by_.field).empty())
      note(Er7Oddity::unfinished, segment_->begin);
    if (!is_segment_name(name)) note(Er7Oddity::odd_segment_name, segment_->begin);
    if (name.size() == text.size()) return;
    begin_field(1, text.data() + name.size() + 1);
    const bool is_header = name == "MSH" && &segment == segments_.data();
    if (is_header) {
      const std::string_view encoding = er7_raw_field(text, 2, by_.field);
      header_field(1, text.substr(3, 1));
      header_field(2, encoding);
      const char* rest = encoding.data() + encoding.size();
      if (rest == text.data() + text.size()) return;
      begin_field(3, rest + 1);
      out_.version = arena_.keep(first_part(er7_raw_field(text, 12, by_.field), by_));
    }
    const char* const end = text.data() + text.size();
    const char* value = at_.value;
    bool escaped = false;
    for (const char* at = value;; ++at) {
      while (at != end && !special_[static_cast<unsigned char>(*at)]) ++at;
      const char c = at == end ? '\0' : *at;
      if (at != end && (c == '\0' || !delimits(c))) {
        escaped = true;
        continue;
      }
      if (at != value || how_.keep_empty_ends)
        take_value({value, static_cast<std::size_t>(at - value)}, escaped, at == end ? by_.field : c,
                   at == end);
      if (at == end || stop_) break;
      value = at + 1;
      escaped = false;
      advance(c, at);
    }
    end_field(end);
  }

  static bool is_segment_name(std::string_view name) {
    return name.size() == 3 && name[0] >= 'A' && name[0] <= 'Z' &&
           std::all_of(name.begin() + 1, name.end(),
                       [](char c) { return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); });
  }

  bool delimits(char c) const {
    return c == by_.field || c == by_.component || c == by_.repetition || c == by_.subcomponent;
  }

  // Where the walk is, and what it has made there.
  struct At {
    unsigned field = 0, repetition = 1, component = 1, part = 1;
    unsigned made_repetitions = 0;
    Node* list = nullptr;
    Node* object = nullptr;
    const char* field_begin = nullptr;
    const char* repetition_begin = nullptr;
    const char* value = nullptr;
  };

  void begin_field(unsigned number, const char* at) {
    at_ = {};
    at_.field = number;
    at_.field_begin = at_.repetition_begin = at_.value = at;
  }

  void end_repetition(const char* at) {
    if (at_.object != nullptr)
      at_.object->end = end_of({at_.repetition_begin, static_cast<std::size_t>(at - at_.repetition_begin)});
  }

  void end_field(const char* at) {
    end_repetition(at);
    if (at_.list != nullptr)
      at_.list->end = end_of({at_.field_begin, static_cast<std::size_t>(at - at_.field_begin)});
  }

  void advance(char delimiter, const char* at) {
    if (delimiter == by_.field) {
      end_field(at);
      begin_field(at_.field + 1, at + 1);
    } else if (delimiter == by_.repetition) {
      end_repetition(at);
      ++at_.repetition;
      at_.component = at_.part = 1;
      at_.object = nullptr;
      at_.repetition_begin = at + 1;
    } else if (delimiter == by_.component) {
      ++at_.component;
      at_.part = 1;
    } else {
      ++at_.part;
    }
  }

  Node* field_list() {
    if (at_.list == nullptr) at_.list = add(*segment_, at_.field, NodeKind::array, {at_.field_begin, 0});
    return at_.list;
  }

  // The object of the repetition, after those of empty ones before it.
  Node* repetition_object() {
    if (at_.object != nullptr) return at_.object;
    Node* list = field_list();
    for (; at_.made_repetitions < at_.repetition && !stop_; ++at_.made_repetitions) {
      at_.object =
          hang(*list, make(NodeKind::object, place(at_.repetition_begin), place(at_.repetition_begin)));
    }
    return at_.object;
  }

  // One value, and the delimiter that ends it.
  void take_value(std::string_view raw, bool escaped, char delimiter, bool at_end) {
    if (raw.empty()) {
      take_empty_end(raw, delimiter, at_end);
      return;
    }
    Node* object = repetition_object();
    if (stop_) return;
    set_value(*add_value(*object, raw), raw, escaped);
  }

  // An empty value is kept when it is the last of several parts, components or fields.
  void take_empty_end(std::string_view raw, char delimiter, bool at_end) {
    const bool component_ends = delimiter != by_.subcomponent;
    const bool repetition_ends = component_ends && delimiter != by_.component;
    if ((component_ends && at_.part > 1) || (repetition_ends && at_.component > 1)) {
      if (Node* object = repetition_object(); !stop_) add_value(*object, raw);
    } else if (repetition_ends && (delimiter == by_.repetition || at_.repetition > 1)) {
      repetition_object();
    } else if (at_end) {
      field_list();
    }
  }

  Node* add_value(Node& object, std::string_view raw) {
    if (at_.part == 1) return add(object, at_.component, NodeKind::string, raw);
    const Number named = number_name(std::to_string(at_.component) + "." + std::to_string(at_.part));
    if (std::max(at_.component, at_.part) > er7_most_parts && !stop_) {
      stop_ = refuse("a component has more parts than allowed", "leave out what is empty",
                     line_of(begin_of(raw)));
    }
    Node* node = hang(object, make(NodeKind::string, begin_of(raw), end_of(raw)));
    node->name_text = named.text;
    node->name = named.name;
    return node;
  }

  void header_field(unsigned number, std::string_view raw) {
    Node* list = add(*segment_, number, NodeKind::array, raw);
    Node* repetition = hang(*list, make(NodeKind::object, begin_of(raw), end_of(raw)));
    add(*repetition, 1, NodeKind::string, raw)->text = raw;
  }

  void set_value(Node& node, std::string_view raw, bool escaped) {
    if (raw.size() == 2 && raw == "\"\"") {
      node.kind = NodeKind::null;
      note(Er7Oddity::deletion, node.begin);
      return;
    }
    if (raw.size() > how_.limits.value_bytes && !stop_) {
      stop_ =
          refuse("a value is longer than allowed", "shorten it, or allow longer values", line_of(node.begin));
    }
    if (by_.truncation != '\0' && raw.ends_with(by_.truncation)) note(Er7Oddity::truncated, node.begin);
    node.text = escaped ? decode(raw) : raw;
  }

  // Decodes the escapes of a value. A backslash that is not of an escape kept is the value's own; where it
  // would look like one, it becomes "\E\".
  std::string_view decode(std::string_view raw) {
    decoded_.clear();
    own_backslashes_.clear();
    const auto take = [&](std::string_view text) {
      for (const char c : text) {
        if (c == '\\') own_backslashes_.push_back(decoded_.size());
        decoded_ += c;
      }
    };
    std::size_t at = 0;
    while (at < raw.size()) {
      const std::size_t open = by_.escape == '\0' ? std::string_view::npos : raw.find(by_.escape, at);
      take(raw.substr(at, open - at));
      if (open == std::string_view::npos) break;
      const std::size_t close = raw.find(by_.escape, open + 1);
      if (close == std::string_view::npos) {
        note(Er7Oddity::open_escape, begin_of(raw.substr(open)));
        take(raw.substr(open));
        break;
      }
      const std::string_view sequence = raw.substr(open, close - open + 1);
      at = close + 1;
      decode_sequence(sequence, at == raw.size(), take);
    }
    // The inside of a sequence holds no backslash, so each can be judged for itself.
    std::size_t grown = 0;
    for (const std::size_t own : own_backslashes_) {
      if (er7_kept_escape(std::string_view(decoded_).substr(own)) != 0) ++grown;
    }
    if (grown == 0) return arena_.keep(decoded_);
    std::string marked;
    marked.reserve(decoded_.size() + 2 * grown);
    std::size_t from = 0;
    for (const std::size_t own : own_backslashes_) {
      if (er7_kept_escape(std::string_view(decoded_).substr(own)) == 0) continue;
      marked.append(decoded_, from, own - from);
      marked += "\\E\\";
      from = own + 1;
    }
    marked.append(decoded_, from);
    return arena_.keep(marked);
  }

  template <class Take>
  void decode_sequence(std::string_view sequence, bool at_end, const Take& take) {
    const std::string_view inside = sequence.substr(1, sequence.size() - 2);
    const struct {
      char letter, means;
    } letters[] = {{'F', by_.field},        {'S', by_.component}, {'R', by_.repetition},
                   {'T', by_.subcomponent}, {'E', by_.escape},    {'P', at_end ? '\0' : by_.truncation}};
    if (inside.size() == 1) {
      for (const auto& one : letters) {
        if (one.letter != inside[0] || one.means == '\0') continue;
        take(std::string_view(&one.means, 1));
        return;
      }
    }
    std::string text;
    if (inside.starts_with('X') && is_kept(inside)) {
      if (hexadecimal(inside.substr(1), text)) {
        take(text);
        return;
      }
      note(Er7Oddity::bad_hex, begin_of(sequence));
    } else if (!is_kept(inside) || (inside == "P" && by_.truncation == '\0')) {
      note(Er7Oddity::unknown_escape, begin_of(sequence));
      take(sequence);
      return;
    }
    decoded_ += '\\';
    decoded_ += inside;
    decoded_ += '\\';
  }

  // False when the bytes are no text of the message's character set.
  bool hexadecimal(std::string_view digits, std::string& text) {
    std::string bytes;
    for (std::size_t i = 0; i < digits.size(); i += 2) {
      unsigned byte = 0;
      std::from_chars(digits.data() + i, digits.data() + i + 2, byte, 16);
      bytes += static_cast<char>(byte);
    }
    std::string_view rest = bytes;
    recoder_->restart();  // each escape begins anew
    return recoder_->recode(rest, text) && rest.empty();
  }

  Arena& arena_;
  const Names& names_;
  const Er7Reading& how_;
  Er7Delimiters by_{};
  Er7Document out_{};
  std::optional<Recoder> recoder_;
  std::vector<Segment> segments_;
  std::vector<Er7Note> notes_;
  std::array<Number, 64> numbers_{};
  const std::vector<Part>* parts_ = nullptr;  // of the segment that is parsed, when it was continued
  const char* joined_ = nullptr;
  std::string decoded_;
  std::vector<std::size_t> own_backslashes_;
  std::size_t nodes_ = 0;
  Node* segment_ = nullptr;  // that is parsed
  At at_{};
  std::array<bool, 256> special_{};  // delimiters and what may be an escape
  std::optional<Error> stop_;
};

}  // namespace

std::string_view words_of(Er7Oddity oddity) {
  return oddity_words[static_cast<std::size_t>(oddity)];
}

std::string_view er7_charset(std::string_view hl7_name) {
  for (const auto& one : charsets) {
    if (one.hl7 == hl7_name) return one.iconv;
  }
  return {};
}

std::string_view er7_raw_field(std::string_view segment, unsigned number, char delimiter) {
  for (unsigned i = segment.starts_with("MSH") ? 1 : 0; i < number; ++i) {
    const std::size_t at = segment.find(delimiter);
    if (at == std::string_view::npos) return {};
    segment.remove_prefix(at + 1);
  }
  return segment.substr(0, segment.find(delimiter));
}

std::size_t er7_kept_escape(std::string_view value) {
  if (!value.starts_with('\\')) return 0;
  const std::size_t close = value.find('\\', 1);
  return close != std::string_view::npos && is_kept(value.substr(1, close - 1)) ? close + 1 : 0;
}

Result<Er7Document> read_er7(std::string_view bytes, Arena& arena, const Names& names,
                             const Er7Reading& how) {
  return Reader(arena, names, how).read(bytes);
}

namespace {

// Counts delimiters on the way to a place.
class Place {
 public:
  Place(const Er7Delimiters& by, std::string_view segment) : by_(by) { at_.segment = segment; }

  // From the segment's name, or from where ADD goes on.
  void walk(std::string_view text) {
    for (const char c : text) step(c);
  }
  const Er7Location& at() const { return at_; }

 private:
  void step(char c) {
    if (c == by_.field) {
      // MSH-1 is the delimiter itself.
      at_.field += at_.field == 0 && at_.segment == "MSH" ? 2 : 1;
      at_.repetition = at_.component = part_ = 1;
    } else if (at_.field == 0 || (at_.field == 2 && at_.segment == "MSH")) {
      return;
    } else if (c == by_.repetition) {
      ++at_.repetition;
      at_.component = part_ = 1;
    } else if (c == by_.component) {
      ++at_.component;
      part_ = 1;
    } else if (c == by_.subcomponent) {
      ++part_;
    }
    at_.subcomponent = part_ > 1 ? part_ : 0;
  }

  Er7Delimiters by_;
  Er7Location at_;
  unsigned part_ = 0;
};

}  // namespace

Er7Location er7_location(std::string_view text, std::uint32_t offset) {
  const auto by = read_delimiters(first_line(text));
  if (!by) return {};
  std::optional<Place> place,
      before;  // DSC and the header behind it stand between a segment and its continuation
  std::vector<std::string_view> segments;
  for (std::size_t at = 0; at <= text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    if (at < end && text[at] == frame_begin) ++at;
    const std::string_view line = text.substr(at, end - at);
    const std::string_view name = line.substr(0, line.find(by->field));
    const bool continues =
        name == "ADD" && place && place->at().segment != "MSH" && place->at().segment != "ADD";
    const std::size_t head = continues ? std::min<std::size_t>(4, line.size()) : 0;
    if (name == "MSH" && before) {
      place = before;
    } else if (!continues) {
      before = name == "DSC" ? place : std::nullopt;
      place.emplace(*by, name);
      segments.push_back(name);
    }
    const bool is_here = offset <= end;
    const std::size_t stop = is_here ? std::max<std::size_t>(offset, at) - at : line.size();
    if (stop > head && (name != "MSH" || segments.size() == 1)) place->walk(line.substr(head, stop - head));
    if (is_here) break;
    at = end + 1;
  }
  Er7Location found = place->at();
  found.occurrence = static_cast<unsigned>(std::count(segments.begin(), segments.end(), found.segment));
  return found;
}

std::string words_of(const Er7Location& location) {
  std::string words(location.segment);
  const auto number = [](unsigned n) { return std::to_string(n); };
  if (location.occurrence != 0) words += "[" + number(location.occurrence) + "]";
  if (location.field != 0) words += "-" + number(location.field);
  if (location.repetition != 0) words += "[" + number(location.repetition) + "]";
  if (location.component != 0) words += "." + number(location.component);
  if (location.subcomponent != 0) words += "." + number(location.subcomponent);
  return words;
}

}  // namespace charpie::syntax
