#include "syntax/json.hpp"

#include <rapidjson/error/error.h>
#include <rapidjson/reader.h>

#include <algorithm>
#include <iterator>
#include <string>
#include <vector>

#include "base/escape.hpp"
#include "base/text.hpp"
#include "base/utf8.hpp"

namespace charpie::syntax {

TextPosition position(std::string_view text, std::size_t offset) {
  offset = std::min(offset, text.size());
  TextPosition place;
  std::size_t line_start = text.starts_with("\xEF\xBB\xBF") && offset >= 3 ? 3 : 0;
  for (std::size_t i = line_start; i < offset; ++i) {
    if (text[i] == '\n') {
      ++place.line;
      line_start = i + 1;
    }
  }
  // Bytes that only continue a character do not count.
  place.column +=
      static_cast<std::size_t>(std::count_if(text.begin() + static_cast<std::ptrdiff_t>(line_start),
                                             text.begin() + static_cast<std::ptrdiff_t>(offset), [](char c) {
                                               return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
                                             }));
  return place;
}

std::size_t offset_of(std::string_view text, const TextPosition& place) {
  std::size_t at = text.starts_with("\xEF\xBB\xBF") ? 3 : 0;
  for (std::size_t line = 1; line < place.line; ++line) {
    at = text.find('\n', at);
    if (at == std::string_view::npos) return at;
    ++at;
  }
  for (std::size_t column = 1; column < place.column && at < text.size() && text[at] != '\n'; ++column) {
    for (++at; at < text.size() && (static_cast<unsigned char>(text[at]) & 0xC0) == 0x80;) ++at;
  }
  return at;
}

namespace {

// What ends a run of a string that stands as it is: quote, backslash, control character, or any byte of a
// character outside ASCII. Signed comparison catches the last two at once.
struct PlainStops {
  static bool at(char c) { return c == '"' || c == '\\' || static_cast<signed char>(c) < 0x20; }
#ifdef __SSE2__
  static __m128i among(__m128i bytes) {
    const __m128i quotes =
        _mm_or_si128(_mm_cmpeq_epi8(bytes, _mm_set1_epi8('"')), _mm_cmpeq_epi8(bytes, _mm_set1_epi8('\\')));
    return _mm_or_si128(quotes, _mm_cmplt_epi8(bytes, _mm_set1_epi8(0x20)));
  }
#endif
};

const char* plain_run(const char* at, const char* end) {
  return escaping::plain_run<PlainStops>(at, end);
}

// RapidJSON's in-situ protocol over bytes that are only read. In situ, the parser asks for PutBegin() after
// an opening quote, Put()s what it decodes and closes with PutEnd(). A string without escapes decodes to
// itself, so nothing is written: PutBegin() and Put() skip plain runs. A string with an escape is collected
// in `decoded`. The parser checks whatever is not plain ASCII (escapes, UTF-8) byte by byte, as always.
class ReadOnlyStream {
 public:
  using Ch = char;

  ReadOnlyStream(std::string_view bytes, std::size_t start)
      : begin_(bytes.data()), at_(bytes.data() + start), end_(bytes.data() + bytes.size()) {}

  Ch Peek() const { return at_ != end_ ? *at_ : '\0'; }
  Ch Take() { return at_ != end_ ? *at_++ : '\0'; }
  std::size_t Tell() const { return static_cast<std::size_t>(at_ - begin_); }

  Ch* PutBegin() {
    // Numbers call this too, but after their last character; there is nothing to do for them.
    if (at_[-1] != '"') return nullptr;
    string_begin_ = at_;
    at_ = plain_run(at_, end_);
    decoding_ = false;
    // Somewhere further on there may still be an escape; only the way up to the closing quote can tell.
    if (at_ != end_ && *at_ != '"') look_for_escape();
    return nullptr;
  }
  // Behind a character of ASCII goes its plain run. (Behind the first byte of a longer one, the parser checks
  // the next; the string's end is put as NUL.)
  void Put(Ch c) {
    const char* const run = static_cast<signed char>(c) > 0 ? plain_run(at_, end_) : at_;
    if (decoding_) decoded_.append(1, c).append(at_, run);
    at_ = run;
  }
  std::size_t PutEnd(Ch*) { return 1; }
  void Flush() {}

  // Of the string just parsed.
  bool was_decoded() const { return decoding_; }
  std::size_t string_offset() const { return static_cast<std::size_t>(string_begin_ - begin_) - 1; }
  std::string_view raw() const { return {string_begin_, static_cast<std::size_t>(at_ - 1 - string_begin_)}; }
  // Without the NUL that the parser puts behind.
  std::string_view decoded() const { return {decoded_.data(), decoded_.size() - 1}; }

 private:
  void look_for_escape() {
    const char* look = at_;
    while (look != end_ && *look != '"' && *look != '\\') ++look;
    if (look == end_ || *look == '"') return;
    decoding_ = true;
    decoded_.assign(string_begin_, at_);
  }

  const char* begin_;
  const char* at_;
  const char* end_;
  const char* string_begin_ = nullptr;
  bool decoding_ = false;
  std::string decoded_;
};

// From this many members on, an object's names are compared once, sorted, when it closes.
constexpr std::uint32_t many_members = 32;

// Builds the tree from RapidJSON's events.
class TreeBuilder {
 public:
  TreeBuilder(const ReadOnlyStream& stream, std::size_t size, Arena& arena, const Names& names,
              const JsonLimits& limits)
      : stream_(stream),
        arena_(arena),
        names_(names),
        limits_(limits),
        depth_(std::min(limits.depth, JsonLimits::deepest)),
        most_values_(std::max(limits.values, size / limits.bytes_a_value)),
        guesses_(2 * (names.size() + 1)) {}

  bool Null() { return scalar(NodeKind::null, stream_.Tell() - 4, {}); }
  bool Bool(bool value) {
    return value ? scalar(NodeKind::boolean, stream_.Tell() - 4, "true")
                 : scalar(NodeKind::boolean, stream_.Tell() - 5, "false");
  }
  bool RawNumber(const char*, rapidjson::SizeType length, bool) {
    const std::size_t begin = stream_.Tell() - length;
    return scalar(NodeKind::number, begin, bytes_from(begin));
  }
  bool String(const char*, rapidjson::SizeType, bool) {
    std::string_view text;
    if (!take_string(text)) return false;
    return scalar(NodeKind::string, stream_.string_offset(), text);
  }
  bool Key(const char*, rapidjson::SizeType, bool) {
    if (!take_string(key_text_)) return false;
    Frame& frame = frames_.back();
    key_ = name_in(*frame.node);
    if (frame.node->count >= many_members) return true;  // see EndObject
    const std::uint64_t bit = bit_of(key_, key_text_);
    if ((frame.seen & bit) != 0) {
      for (const Node* child = frame.node->first; child != nullptr; child = child->next) {
        if (child->name == key_ && child->name_text == key_text_) return twice(stream_.string_offset());
      }
    }
    frame.seen |= bit;
    return true;
  }
  bool StartObject() { return open(NodeKind::object); }
  bool StartArray() { return open(NodeKind::array); }
  bool EndObject(rapidjson::SizeType) {
    const Node* object = frames_.back().node;
    if (object->count > many_members && !names_differ(*object)) return false;
    return close();
  }
  bool EndArray(rapidjson::SizeType) { return close(); }
  // With numbers as text these never come.
  bool Int(int) { return false; }
  bool Uint(unsigned) { return false; }
  bool Int64(std::int64_t) { return false; }
  bool Uint64(std::uint64_t) { return false; }
  bool Double(double) { return false; }

  Node* root() const { return root_; }
  // Why an event was refused, and where.
  const std::string& refusal() const { return refusal_; }
  const std::string& mend() const { return mend_; }
  std::size_t refusal_offset() const { return refusal_offset_; }

  void begin_of(const char* bytes) { bytes_ = bytes; }

 private:
  struct Frame {
    Node* node;
    std::uint64_t seen;  // one bit for each name's class; a bit met again is looked at closely
  };

  static std::uint64_t bit_of(std::uint32_t number, std::string_view text) {
    if (number != 0) return std::uint64_t{1} << (number % 64);
    std::uint64_t mix = text.size();
    if (!text.empty()) {
      mix = mix * 31 + static_cast<unsigned char>(text.front());
      mix = mix * 31 + static_cast<unsigned char>(text.back());
      mix = mix * 31 + static_cast<unsigned char>(text[text.size() / 2]);
    }
    return std::uint64_t{1} << (mix % 64);
  }

  // The number of the name at hand. What came after a name once often comes after it again; what came first
  // in an object of that name, too.
  std::uint32_t name_in(const Node& object) {
    const std::size_t place =
        object.last != nullptr ? object.last->name : names_.size() + 1 + name_of_object();
    std::uint32_t& guess = guesses_[place];
    if (guess == 0 || !same_text(names_.text(guess), key_text_)) guess = names_.find(key_text_);
    return guess;
  }

  // As a member; an item of a list has the list's.
  std::uint32_t name_of_object() const {
    const auto own = frames_.back().node->name;
    return own != 0 || frames_.size() == 1 ? own : frames_[frames_.size() - 2].node->name;
  }

  std::string_view bytes_from(std::size_t begin) const { return {bytes_ + begin, stream_.Tell() - begin}; }

  bool refuse(std::size_t offset, std::string reason, std::string mend) {
    refusal_offset_ = offset;
    refusal_ = std::move(reason);
    mend_ = std::move(mend);
    return false;
  }
  bool twice(std::size_t offset) {
    return refuse(offset, "a member name stands twice in one object", "keep one of the two");
  }

  bool take_string(std::string_view& text) {
    text = stream_.was_decoded() ? stream_.decoded() : stream_.raw();
    if (text.size() > limits_.string_bytes) {
      return refuse(stream_.string_offset(),
                    "a string is longer than " + std::to_string(limits_.string_bytes) + " bytes",
                    "shorten it");
    }
    if (stream_.was_decoded()) {
      // The parser lets the second half of a surrogate pair pass when it stands alone.
      if (!is_utf8(text)) {
        return refuse(stream_.string_offset(), "a string has half of a surrogate pair in a \\u escape",
                      "write both halves, or the character itself");
      }
      text = arena_.keep(text);
    }
    return true;
  }

  Node* add(NodeKind kind, std::size_t begin, std::string_view text) {
    Node* node = arena_.make<Node>();
    node->kind = kind;
    node->begin = static_cast<std::uint32_t>(begin);
    node->end = static_cast<std::uint32_t>(stream_.Tell());
    node->text = text;
    if (frames_.empty()) {
      root_ = node;
      return node;
    }
    Node* parent = frames_.back().node;
    if (parent->kind == NodeKind::object) {
      node->name = key_;
      node->name_text = key_text_;
    }
    append(*parent, node);
    return node;
  }

  // Whether one more value would be too many.
  bool is_full(std::size_t begin) { return ++values_ > most_values_ && tell_full(begin); }
  bool tell_full(std::size_t begin) {
    refuse(begin, "there are more than " + std::to_string(most_values_) + " values in one text",
           "split it into several records");
    return true;
  }

  bool scalar(NodeKind kind, std::size_t begin, std::string_view text) {
    if (is_full(begin)) return false;
    add(kind, begin, text);
    return true;
  }

  // The parser tells of a bracket after it took it. It calls itself for what is nested, and a refusal here
  // stops it: the depth limit also bounds the stack.
  bool open(NodeKind kind) {
    const std::size_t bracket = stream_.Tell() - 1;
    if (frames_.size() >= depth_) {
      return refuse(bracket, "values are nested deeper than " + std::to_string(depth_) + " levels",
                    "flatten the record");
    }
    if (is_full(bracket)) return false;
    Node* node = add(kind, bracket, {});
    frames_.push_back({node, 0});
    return true;
  }
  bool close() {
    frames_.back().node->end = static_cast<std::uint32_t>(stream_.Tell());
    frames_.pop_back();
    return true;
  }

  // Sorting keeps an object of a million names from costing a million times a million comparisons.
  bool names_differ(const Node& object) {
    std::vector<const Node*> members;
    members.reserve(object.count);
    for (const Node* child = object.first; child != nullptr; child = child->next) members.push_back(child);
    std::sort(members.begin(), members.end(), [](const Node* a, const Node* b) {
      const int order = a->name_text.compare(b->name_text);
      return order != 0 ? order < 0 : a->begin < b->begin;
    });
    const auto same = std::adjacent_find(members.begin(), members.end(), [](const Node* a, const Node* b) {
      return a->name_text == b->name_text;
    });
    return same == members.end() || twice((*std::next(same))->begin);
  }

  const ReadOnlyStream& stream_;
  Arena& arena_;
  const Names& names_;
  const JsonLimits& limits_;
  std::size_t depth_;
  const char* bytes_ = nullptr;
  std::vector<Frame> frames_;
  Node* root_ = nullptr;
  std::size_t most_values_;
  std::size_t values_ = 0;
  std::uint32_t key_ = 0;
  std::vector<std::uint32_t> guesses_;  // by the number of a name: what came behind it, and behind those what
                                        // came first in its object
  std::string_view key_text_{};
  std::string refusal_;
  std::string mend_;
  std::size_t refusal_offset_ = 0;
};

struct Words {
  rapidjson::ParseErrorCode code;
  const char* message;
  const char* mend;
};

constexpr Words words_of_parser[] = {
    {rapidjson::kParseErrorDocumentEmpty, "there is no JSON value", "give a JSON object"},
    {rapidjson::kParseErrorDocumentRootNotSingular, "text follows the JSON value", "keep one value"},
    {rapidjson::kParseErrorValueInvalid, "a value is missing or is not JSON",
     "write a string in quotes, a number, true, false, null, an object or an array"},
    {rapidjson::kParseErrorObjectMissName, "a member name in quotes is missing",
     "name the member or drop the comma"},
    {rapidjson::kParseErrorObjectMissColon, "a colon is missing after a member name", "add the colon"},
    {rapidjson::kParseErrorObjectMissCommaOrCurlyBracket, "a comma or a closing brace is missing",
     "add a comma between members or close the object"},
    {rapidjson::kParseErrorArrayMissCommaOrSquareBracket, "a comma or a closing bracket is missing",
     "add a comma between elements or close the array"},
    {rapidjson::kParseErrorStringUnicodeEscapeInvalidHex, "a \\u escape has no four hexadecimal digits",
     "write four digits"},
    {rapidjson::kParseErrorStringUnicodeSurrogateInvalid,
     "a string has half of a surrogate pair in a \\u escape", "write both halves, or the character itself"},
    {rapidjson::kParseErrorStringEscapeInvalid, "a string has an unknown escape or a bare control character",
     "escape control characters, as in \\n or \\u0009"},
    {rapidjson::kParseErrorStringMissQuotationMark, "a string is not closed", "add the closing quote"},
    {rapidjson::kParseErrorStringInvalidEncoding, "a string is not valid UTF-8", "save the text as UTF-8"},
    {rapidjson::kParseErrorNumberTooBig, "a number is too large", "keep numbers below 1e308"},
    {rapidjson::kParseErrorNumberMissFraction, "digits are missing after the decimal point",
     "write as in 4.0"},
    {rapidjson::kParseErrorNumberMissExponent, "digits are missing after the exponent's e",
     "write as in 1e3"},
};

Error error_at(std::string_view bytes, std::size_t offset, std::string message, std::string mend) {
  const TextPosition place = position(bytes, offset);
  return {Error::invalid, std::move(message), {}, place.line, place.column, std::move(mend)};
}

}  // namespace

Result<Node*> read_json(std::string_view bytes, Arena& arena, const Names& names, const JsonLimits& limits) {
  constexpr std::size_t offsets_reach = 0xFFFFFFF0u;
  const std::size_t longest = std::min(limits.document_bytes, offsets_reach);
  if (bytes.size() > longest) {
    return Error{Error::invalid,
                 "the JSON text is longer than " + std::to_string(longest) + " bytes",
                 {},
                 1,
                 1,
                 "split it into several records"};
  }
  ReadOnlyStream stream(bytes, bytes.starts_with("\xEF\xBB\xBF") ? 3 : 0);
  TreeBuilder builder(stream, bytes.size(), arena, names, limits);
  builder.begin_of(bytes.data());
  rapidjson::Reader reader;
  constexpr unsigned flags = rapidjson::kParseInsituFlag | rapidjson::kParseValidateEncodingFlag |
                             rapidjson::kParseNumbersAsStringsFlag;
  const rapidjson::ParseResult result = reader.Parse<flags>(stream, builder);
  if (!result.IsError()) {
    // The parser takes a NUL for the end.
    if (stream.Tell() == bytes.size()) return builder.root();
    return error_at(bytes, stream.Tell(), "a NUL byte follows the JSON value", "keep one value");
  }
  if (result.Code() == rapidjson::kParseErrorTermination) {
    return error_at(bytes, builder.refusal_offset(), builder.refusal(), builder.mend());
  }
  rapidjson::ParseErrorCode code = result.Code();
  // For the parser, a text that starts with NUL is empty.
  if (code == rapidjson::kParseErrorDocumentEmpty && result.Offset() < bytes.size()) {
    code = rapidjson::kParseErrorValueInvalid;
  }
  if (code == rapidjson::kParseErrorStringMissQuotationMark && result.Offset() < bytes.size()) {
    return error_at(bytes, result.Offset(), "a string holds a NUL byte",
                    "write it as \\u0000 or leave it out");
  }
  const auto* words = std::find_if(std::begin(words_of_parser), std::end(words_of_parser),
                                   [code](const Words& row) { return row.code == code; });
  if (words == std::end(words_of_parser)) {
    return error_at(bytes, result.Offset(), "the text is not JSON", "check it with the sender");
  }
  return error_at(bytes, result.Offset(), words->message, words->mend);
}

}  // namespace charpie::syntax
