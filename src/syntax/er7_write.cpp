#include "syntax/er7_write.hpp"

#include <algorithm>
#include <charconv>
#include <optional>
#include <vector>

#include "syntax/charset.hpp"

namespace charpie::syntax {

namespace {

constexpr char hex[] = "0123456789ABCDEF";

Error refuse(std::string message, std::string mend) {
  return {Error::invalid, std::move(message), {}, 0, 0, std::move(mend)};
}

// "3" or "1.2"; none for another name.
struct Number {
  unsigned whole = 0, part = 1;
  auto operator<=>(const Number&) const = default;
};

std::optional<unsigned> read_number(std::string_view text) {
  unsigned number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc{} || end != text.data() + text.size() || number == 0 || number > er7_most_parts ||
      text.front() == '0') {
    return std::nullopt;
  }
  return number;
}

struct Member {
  Number number;
  const Node* node;
};

class Writer {
 public:
  explicit Writer(const Er7Writing& how) : how_(how), by_(how.delimiters) {}

  Outcome write(const Node& message, std::string& out) {
    const Node* segments = message.is_object() ? message.member("segments") : nullptr;
    if (segments == nullptr || !segments->is_array() || segments->first == nullptr ||
        segment_name(*segments->first) != "MSH") {
      return refuse("the tree is no message: its segments do not begin with MSH",
                    "give {\"segments\": [{\"segment\": \"MSH\", …}, …]}");
    }
    std::size_t index = 0;
    for (const Node* segment = segments->first; segment != nullptr; segment = segment->next, ++index) {
      place_ = "segments[" + std::to_string(index) + "]";
      if (auto written = write_segment(*segment, index == 0); !written) return written;
    }
    const Node* field = segments->first->member("18");
    const Node* declared = field != nullptr && field->first != nullptr ? field->first->member("1") : nullptr;
    std::string_view wanted = declared != nullptr ? declared->text : std::string_view{};
    if (wanted.empty()) wanted = how_.charset;
    return encode(wanted, out);
  }

 private:
  static std::string_view segment_name(const Node& segment) {
    const Node* name = segment.is_object() ? segment.member("segment") : nullptr;
    return name != nullptr && name->is_string() ? name->text : std::string_view{};
  }

  Error wrong(std::string_view what, std::string_view mend) const {
    return refuse(place_ + ": " + std::string(what), std::string(mend));
  }

  // The members but "segment", by number.
  Outcome members(const Node& object, bool with_parts, std::vector<Member>& found) const {
    found.clear();
    for (const Node* one = object.first; one != nullptr; one = one->next) {
      if (!with_parts && one->name_text == "segment") continue;
      const std::size_t point = with_parts ? one->name_text.find('.') : std::string_view::npos;
      const auto whole = read_number(one->name_text.substr(0, point));
      const auto part = point == std::string_view::npos ? 1u : read_number(one->name_text.substr(point + 1));
      if (!whole || !part || (point != std::string_view::npos && *part == 1)) {
        return wrong("a member has no number for its name",
                     "name fields and components \"1\", \"2\", …, sub-components \"1.2\"");
      }
      found.push_back({{*whole, *part}, one});
    }
    std::sort(found.begin(), found.end(),
              [](const Member& a, const Member& b) { return a.number < b.number; });
    for (std::size_t i = 1; i < found.size(); ++i) {
      if (found[i].number == found[i - 1].number)
        return wrong("two members have one number", "name each once");
    }
    return std::monostate{};
  }

  Outcome write_segment(const Node& segment, bool is_header) {
    const std::string_view name = segment_name(segment);
    // A name cannot be escaped.
    const bool says_more = std::any_of(name.begin(), name.end(), [&](char c) {
      return (static_cast<unsigned char>(c) < 0x20 && c != '\t') || c == by_.field;
    });
    if (name.empty() || says_more) {
      return wrong("a segment has no name, or one that cannot be", "give each segment a member \"segment\"");
    }
    if (!is_header && name == "MSH") return wrong("a second MSH", "write each message by itself");
    text_ += name;
    unsigned next = 1;
    std::vector<Member> fields;
    if (auto sorted = members(segment, false, fields); !sorted) return sorted;
    if (is_header) {
      text_ += by_.field;
      for (const char c : {by_.component, by_.repetition, by_.escape, by_.subcomponent, by_.truncation}) {
        if (c == '\0') break;
        text_ += c;
      }
      next = 3;
    }
    const std::string outer = place_;
    for (const Member& field : fields) {
      if (is_header && field.number.whole < 3) continue;
      place_ = outer + "." + std::string(field.node->name_text);
      for (; next <= field.number.whole; ++next) text_ += by_.field;
      if (!field.node->is_array()) return wrong("a field is no list", "give the list of its repetitions");
      for (const Node* repetition = field.node->first; repetition != nullptr; repetition = repetition->next) {
        if (repetition != field.node->first) {
          if (auto put = delimiter(by_.repetition); !put) return put;
        }
        if (!repetition->is_object())
          return wrong("a repetition is no object", "give an object of its components");
        if (auto written = write_repetition(*repetition); !written) return written;
      }
    }
    text_ += how_.segment_end;
    return std::monostate{};
  }

  Outcome write_repetition(const Node& repetition) {
    std::vector<Member> values;
    if (auto sorted = members(repetition, true, values); !sorted) return sorted;
    Number at{1, 1};
    for (const Member& value : values) {
      for (; at.whole < value.number.whole; ++at.whole, at.part = 1) {
        if (auto put = delimiter(by_.component); !put) return put;
      }
      for (; at.part < value.number.part; ++at.part) {
        if (auto put = delimiter(by_.subcomponent); !put) return put;
      }
      switch (value.node->kind) {
        case NodeKind::null:
          text_ += "\"\"";
          break;
        case NodeKind::object:
        case NodeKind::array:
          return wrong("a component is no value", "give a string, or null for a value to be deleted");
        default:
          if (auto written = write_value(value.node->text); !written) return written;
      }
    }
    return std::monostate{};
  }

  Outcome delimiter(char c) {
    if (c == '\0')
      return wrong("a value needs a delimiter that the message has not", "write with all of ^~\\&");
    text_ += c;
    return std::monostate{};
  }

  char letter_of(char c) const {
    if (c == by_.field) return 'F';
    if (c == by_.component) return 'S';
    if (c == by_.repetition) return 'R';
    if (c == by_.subcomponent) return 'T';
    if (c == by_.escape) return 'E';
    return c == by_.truncation ? 'P' : '\0';
  }

  Outcome write_value(std::string_view value) {
    if (value == "\"\"") {  // two quotes as text; as they stand they would ask for deletion
      if (by_.escape == '\0') return delimiter('\0');
      text_ += by_.escape;
      text_ += "X2222";
      text_ += by_.escape;
      return std::monostate{};
    }
    for (std::size_t i = 0; i < value.size();) {
      const char c = value[i];
      const auto byte = static_cast<unsigned char>(c);
      const std::size_t kept = c == '\\' ? er7_kept_escape(value.substr(i)) : 0;
      const bool control = byte < 0x20 && c != '\t';
      const char letter = c == '\0' ? '\0' : letter_of(c);
      const bool cut_off = c == by_.truncation && i + 1 == value.size();  // the mark of a value cut off
      if (kept == 3 && value[i + 1] == 'E' &&
          by_.escape != '\\') {  // a backslash, which is nothing special here
        text_ += c;
        i += kept;
        continue;
      }
      if (kept == 0 && !control && (letter == '\0' || cut_off)) {
        text_ += c;
        ++i;
        continue;
      }
      if (by_.escape == '\0') return delimiter('\0');
      text_ += by_.escape;
      if (kept != 0) {
        text_ += value.substr(i + 1, kept - 2);
        i += kept;
      } else if (control) {
        text_ += 'X';
        for (; i < value.size() && static_cast<unsigned char>(value[i]) < 0x20 && value[i] != '\t'; ++i) {
          text_ += hex[static_cast<unsigned char>(value[i]) >> 4];
          text_ += hex[static_cast<unsigned char>(value[i]) & 15];
        }
      } else {
        text_ += letter;
        ++i;
      }
      text_ += by_.escape;
    }
    return std::monostate{};
  }

  Outcome encode(std::string_view wanted, std::string& out) const {
    const std::string_view known = er7_charset(wanted);
    auto recoder = Recoder::from_utf8(!known.empty() ? known : wanted.empty() ? "UTF-8" : wanted);
    if (!recoder)
      return refuse("the character set that MSH-18 names is not known",
                    "name one of HL7 table 0211, as UNICODE UTF-8");
    std::string coded;
    std::string_view rest = text_;
    if (!recoder->recode(rest, coded) || !rest.empty()) {
      return refuse("a value has a character that the message's character set has not",
                    "write with MSH-18 = UNICODE UTF-8");
    }
    recoder->finish(coded);
    if (how_.framed) out += '\x0B';
    out += coded;
    if (how_.framed) out += "\x1C\r";
    return std::monostate{};
  }

  const Er7Writing& how_;
  const Er7Delimiters by_;
  std::string text_;
  std::string place_;
};

}  // namespace

Outcome write_er7(const Node& message, std::string& out, const Er7Writing& how) {
  return Writer(how).write(message, out);
}

}  // namespace charpie::syntax
