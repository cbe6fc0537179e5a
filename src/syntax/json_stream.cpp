#include "syntax/json_stream.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

#include "base/escape.hpp"

namespace charpie::syntax {

Result<std::size_t> TextSource::read(char* to, std::size_t size) {
  const std::size_t count = std::min(size, rest_.size());
  if (count != 0) std::memcpy(to, rest_.data(), count);
  rest_.remove_prefix(count);
  return count;
}

namespace {

bool is_white_space(int c) {
  return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

struct ByteSet {
  bool holds[256] = {};
  constexpr explicit ByteSet(std::string_view bytes) {
    for (const char c : bytes) holds[static_cast<unsigned char>(c)] = true;
  }
  bool operator[](char c) const { return holds[static_cast<unsigned char>(c)]; }
};

constexpr ByteSet outside_strings("\"{}[]\n");
constexpr ByteSet inside_strings("\"\\\n");

}  // namespace

JsonStream::JsonStream(ByteSource& source, const JsonStreamLimits& limits)
    : source_(source), limits_(limits) {
  limits_.chunk_bytes = std::max<std::size_t>(limits_.chunk_bytes, 1);
}

// Moves what is kept to the front of the buffer and reads behind it. False at the end or when reading failed.
bool JsonStream::fill() {
  if (source_ended_) return false;
  if (too_long()) {
    dropped_ = true;
    kept_from_ = at_;
  }
  if (kept_from_ > 0) {
    std::memmove(buffer_.data(), buffer_.data() + kept_from_, end_ - kept_from_);
    before_buffer_ += kept_from_;
    at_ -= kept_from_;
    end_ -= kept_from_;
    kept_from_ = 0;
  }
  // Doubling, so that a long record is moved only a few times.
  if (buffer_.size() - end_ < limits_.chunk_bytes) {
    buffer_.resize(std::max(end_ * 2, end_ + limits_.chunk_bytes));
  }
  auto count = source_.read(buffer_.data() + end_, limits_.chunk_bytes);
  if (count && *count != 0) {
    end_ += *count;
    return true;
  }
  if (!count) source_error_ = std::move(count.error());
  source_ended_ = true;
  return false;
}

// The byte at at_, or -1 at the end.
int JsonStream::peek() {
  if (at_ == end_ && !fill()) return -1;
  return static_cast<unsigned char>(buffer_[at_]);
}

// The byte after the one at at_, or -1.
int JsonStream::peek_after() {
  if (at_ + 1 == end_ && !fill()) return -1;
  return static_cast<unsigned char>(buffer_[at_ + 1]);
}

// Past the byte at at_.
void JsonStream::step() {
  if (buffer_[at_++] == '\n') {
    ++line_;
    line_start_ = before_buffer_ + at_;
  }
}

// Returns the byte that follows, or -1. What is skipped belongs to no piece.
int JsonStream::skip_white_space() {
  while (true) {
    kept_from_ = at_;
    dropped_ = false;
    const int c = peek();
    if (!is_white_space(c)) return c;
    step();
  }
}

void JsonStream::begin(JsonPiece& piece) {
  kept_from_ = at_;
  dropped_ = false;
  piece.bytes.clear();
  piece.error.reset();
  piece.ordinal = ++ordinal_;
  piece.line = line_;
  piece.column = column();
  piece.offset = before_buffer_ + at_;
}

// Puts the bytes up to at_ in the piece.
bool JsonStream::give(JsonPiece& piece) {
  if (too_long()) {
    piece.error = Error{Error::invalid,
                        "a record is longer than " + std::to_string(limits_.record_bytes) + " bytes",
                        {},
                        piece.line,
                        piece.column,
                        "split it, or check that its braces are closed"};
  } else {
    piece.bytes.assign(buffer_, kept_from_, at_ - kept_from_);
  }
  kept_from_ = at_;
  dropped_ = false;
  return true;
}

bool JsonStream::give_broken(JsonPiece& piece, std::string message, std::string mend) {
  give(piece);
  if (source_error_) {
    piece.error = source_error_;
    shape_ = Shape::ended;
  } else if (!piece.error) {
    piece.error = Error{Error::invalid, std::move(message), {}, piece.line, piece.column, std::move(mend)};
  }
  return true;
}

bool JsonStream::next(JsonPiece& piece) {
  if (shape_ == Shape::unknown) {
    while (end_ < 3 && fill()) {
    }
    if (std::string_view(buffer_.data(), end_).starts_with("\xEF\xBB\xBF")) at_ = line_start_ = 3;
    const int first = skip_white_space();
    if (first == -1) {
      begin(piece);
      shape_ = Shape::ended;
      return give_broken(piece, "the input is empty",
                         "give a JSON object, an array of objects or one object a line");
    }
    shape_ = first == '[' ? Shape::array : Shape::sequence;
    if (first == '[') step();
  }
  switch (shape_) {
    case Shape::array:
      return next_in_array(piece);
    case Shape::sequence:
      return next_in_sequence(piece);
    default:
      return false;
  }
}

bool JsonStream::next_in_array(JsonPiece& piece) {
  int c = skip_white_space();
  if (element_before_ && c == ',') {
    step();
    element_before_ = false;
    c = skip_white_space();
    if (c == ']') {
      begin(piece);
      return give_broken(piece, "a comma stands before the closing bracket of the array", "drop the comma");
    }
  }
  if (c == ']') {
    step();
    return after_array(piece);
  }
  begin(piece);
  if (c == -1) {
    shape_ = Shape::ended;
    return give_broken(piece, "the array of records is not closed",
                       "add the closing bracket; check that nothing was cut off");
  }
  if (element_before_) {
    element_before_ = false;
    return give_broken(piece, "a comma is missing between two records of the array", "add the comma");
  }
  if (c == ',') {
    step();
    return give_broken(piece, "a comma stands where a record should be", "drop the comma");
  }
  element_before_ = true;
  if (c != '{') {
    scan_other_element();
    return give_broken(piece, "an element of the array is not an object", "give one object for each record");
  }
  if (scan_object(true) == Ending::whole) return give(piece);
  shape_ = Shape::ended;
  return give_broken(piece, "a record is not closed; the rest of the array is lost with it",
                     "close its braces, brackets and quotes");
}

bool JsonStream::after_array(JsonPiece& piece) {
  shape_ = Shape::ended;
  if (skip_white_space() == -1 && !source_error_) return false;
  begin(piece);
  scan_rest();
  return give_broken(piece, "text follows the array", "keep one array, or write one object a line");
}

bool JsonStream::next_in_sequence(JsonPiece& piece) {
  const int c = skip_white_space();
  if (c == -1 && !source_error_) {
    shape_ = Shape::ended;
    return false;
  }
  begin(piece);
  if (c == ',') {
    step();
    return give_broken(piece, "a comma stands between records that are not in an array",
                       "drop the comma, or put brackets around the records");
  }
  if (c != '{') {
    scan_to_line_with_object();
    return give_broken(
        piece, "this is no JSON object",
        "give one object a line, or one array of objects; nothing else may stand between them");
  }
  const std::size_t first_line = line_;
  if (scan_object(false) == Ending::whole) {
    if (line_ == first_line) one_a_line_ = true;
    return give(piece);
  }
  one_a_line_ = true;
  return give_broken(piece, "a record is not closed", "close its braces, brackets and quotes");
}

// From the brace at at_ to past the one that closes it. In a sequence, a broken object is cut where a line
// starts with '{': at the first such line, so that each following record is tried from its own start.
JsonStream::Ending JsonStream::scan_object(bool in_array) {
  struct Place {
    std::size_t from_kept = 0;
    std::size_t line = 0;
  };
  Place first_cut;  // line 0: none
  const auto cut = [&] {
    if (first_cut.line == 0 || too_long()) return;
    at_ = kept_from_ + first_cut.from_kept;
    line_ = first_cut.line;
    line_start_ = before_buffer_ + at_;
  };
  std::size_t depth = 0;
  std::uint64_t open_arrays = 0;  // the lowest bit tells of the innermost: 1 an array, 0 an object
  bool in_string = false;
  bool hopeless = false;  // a string ran over the end of its line, or brackets cross: nothing closes any more
  while (true) {
    const ByteSet& stops = in_string ? inside_strings : outside_strings;
    const char* bytes = buffer_.data();
    std::size_t at = at_;
    // What needs no look in a string, many bytes at a time.
    if (in_string) at = static_cast<std::size_t>(escaping::json_plain_run(bytes + at, bytes + end_) - bytes);
    while (at < end_ && !stops[bytes[at]]) ++at;
    at_ = at;
    if (at_ == end_) {
      if (fill()) continue;
      if (!in_array && !source_error_) cut();
      return Ending::exhausted;
    }
    const char c = buffer_[at_];
    if (c == '\n') {
      if (in_string && !in_array) {
        hopeless = true;
        in_string = false;
      }
      const bool object_follows = peek_after() == '{';
      if (in_array || !object_follows) {
        step();
        continue;
      }
      std::size_t before = at_;
      while (before > kept_from_ && is_white_space(buffer_[before - 1])) --before;
      const char last = before > kept_from_ ? buffer_[before - 1] : '\0';
      const bool value_may_follow = last == '[' || last == ',' || last == ':';
      step();
      if (first_cut.line == 0) first_cut = {at_ - kept_from_, line_};
      if (hopeless || one_a_line_ || too_long() || !value_may_follow) {
        cut();
        return Ending::cut;
      }
      continue;
    }
    if (hopeless) {
      ++at_;
    } else if (in_string) {
      if (c == '"') {
        in_string = false;
        ++at_;
      } else {
        // A backslash takes the next byte with it, but never the end of the line.
        const int escaped = peek_after();
        at_ += escaped == -1 || escaped == '\n' ? 1 : 2;
      }
    } else if (c == '"') {
      in_string = true;
      ++at_;
    } else {
      ++at_;
      if (c == '{' || c == '[') {
        ++depth;
        open_arrays = open_arrays << 1 | (c == '[');
      } else {
        // Deeper than 64 the kinds are forgotten, but no reader takes that either.
        if (depth <= 64 && (open_arrays & 1) != (c == ']')) hopeless = true;
        open_arrays >>= 1;
        if (--depth == 0 && !hopeless) return Ending::whole;
        if (hopeless && in_array) {
          scan_rest();
          return Ending::exhausted;
        }
      }
    }
  }
}

// An element that is no object, up to the comma or bracket that ends it.
void JsonStream::scan_other_element() {
  std::size_t depth = 0;
  bool in_string = false;
  for (int c = peek(); c != -1; c = peek()) {
    if (in_string) {
      if (c == '\\' && peek_after() != -1) step();
      if (c == '"') in_string = false;
    } else if (c == '"') {
      in_string = true;
    } else if (depth == 0 && (c == ',' || c == ']')) {
      return;
    } else if (c == '{' || c == '[') {
      ++depth;
    } else if ((c == '}' || c == ']') && depth > 0) {
      --depth;
    }
    step();
  }
}

// Up to a line that starts with '{', after blanks or at once.
void JsonStream::scan_to_line_with_object() {
  bool at_line_start = false;
  for (int c = peek(); c != -1; c = peek()) {
    if (at_line_start && c == '{') return;
    if (c == '\n') {
      at_line_start = true;
    } else if (!is_white_space(c)) {
      at_line_start = false;
    }
    step();
  }
}

void JsonStream::scan_rest() {
  while (peek() != -1) step();
}

}  // namespace charpie::syntax
