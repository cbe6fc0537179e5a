#include "syntax/er7_stream.hpp"

#include <algorithm>
#include <charconv>

#include "syntax/er7.hpp"

namespace charpie::syntax {

namespace {

constexpr char frame_begin = '\x0B';  // MLLP
constexpr char frame_end = '\x1C';
constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

bool is_letter_or_digit(char c) {
  return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

// Whether a line is that segment, whatever its delimiter.
bool is_segment(std::string_view line, std::string_view name) {
  return line.starts_with(name) && (line.size() == name.size() || !is_letter_or_digit(line[name.size()]));
}

std::optional<std::uint64_t> count_of(std::string_view text) {
  std::uint64_t count = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), count);
  if (text.empty() || error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return count;
}

Error refuse(std::string message, std::string mend, std::size_t line) {
  return {Error::invalid, std::move(message), {}, line, 1, std::move(mend)};
}

}  // namespace

Er7Stream::Er7Stream(ByteSource& source, const JsonStreamLimits& limits) : source_(source), limits_(limits) {}

// Reads one chunk; false when there is nothing more.
bool Er7Stream::fill() {
  if (source_ended_) return false;
  buffer_.erase(0, at_);
  before_buffer_ += at_;
  at_ = 0;
  const std::size_t had = buffer_.size();
  buffer_.resize(had + limits_.chunk_bytes);
  auto got = source_.read(buffer_.data() + had, limits_.chunk_bytes);
  buffer_.resize(had + (got ? *got : 0));
  if (!got) source_error_ = std::move(got.error());
  source_ended_ = !got || *got == 0;
  return !source_ended_;
}

// The line that starts at `from`; false at the end of the input.
bool Er7Stream::look(std::size_t from, Line& line) {
  std::size_t end = from;
  while (true) {
    const std::size_t size = buffer_.size() - at_;
    while (end < size && buffer_[at_ + end] != '\r' && buffer_[at_ + end] != '\n') ++end;
    const bool half = end + 1 == size && buffer_[at_ + end] == '\r';  // it may be half a CRLF
    if ((end < size && !half) || source_ended_) break;
    if (end - from > limits_.record_bytes) break;
    fill();
  }
  const std::string_view text = std::string_view(buffer_).substr(at_);
  if (from >= text.size()) return false;
  line = {};
  line.whole = end - from <= limits_.record_bytes;
  if (!line.whole) end = from + limits_.record_bytes;  // however much of it happens to be here
  line.begin = from;
  line.end = end;
  line.next = line.whole ? std::min(end + 1, text.size()) : end;
  if (line.whole && end + 1 < text.size() && text[end] == '\r' && text[end + 1] == '\n') ++line.next;
  for (; line.begin < end; ++line.begin) {
    if (text[line.begin] == frame_begin) {
      line.frame_begins = true;
    } else if (text[line.begin] == frame_end) {
      line.frame_ends_before = true;
    } else {
      break;
    }
  }
  if (line.end > line.begin && text[line.end - 1] == frame_end) {
    line.frame_ends = true;
    --line.end;
  }
  line.text = text.substr(line.begin, line.end - line.begin);
  const struct {
    std::string_view name;
    Kind kind;
  } names[] = {{"MSH", Kind::message},
               {"FHS", Kind::file_header},
               {"BHS", Kind::batch_header},
               {"BTS", Kind::batch_end},
               {"FTS", Kind::file_end}};
  line.kind = line.text.empty() ? Kind::blank : Kind::segment;
  for (const auto& one : names) {
    if (is_segment(line.text, one.name)) line.kind = one.kind;
  }
  return true;
}

// Leaves the first bytes behind, which hold so many line ends.
void Er7Stream::pass(std::size_t size, std::size_t lines) {
  line_ += lines;
  at_ += size;
}

void Er7Stream::begin(JsonPiece& piece, const Line& line) {
  piece.bytes.clear();
  piece.ordinal = ++ordinal_;
  piece.line = line_;
  piece.column = line.begin + 1;
  piece.offset = before_buffer_ + at_ + line.begin;
}

void Er7Stream::give(JsonPiece& piece, std::size_t begin, std::size_t end) {
  piece.bytes.assign(buffer_, at_ + begin, end - begin);
}

// Leaves a line behind; of one that is too long to be held, all that comes.
void Er7Stream::pass_line(const Line& line) {
  if (line.whole) {
    pass(line.next, 1);
    return;
  }
  pass(line.end, 0);
  while (true) {
    const auto end = std::min(buffer_.find_first_of("\r\n", at_), buffer_.size());
    at_ = end;
    if (at_ < buffer_.size() || !fill()) return;
  }
}

// A message: its first line and the segments behind it.
bool Er7Stream::give_message(JsonPiece& piece, Line line) {
  begin(piece, line);
  ++messages_;
  const std::size_t first = line.begin;
  const bool framed = line.frame_begins;
  const char delimiter = line.text.size() > 3 ? line.text[3] : '|';
  std::size_t lines = 0;  // before `line`
  while (true) {
    const std::size_t end = line.frame_ends ? line.end : line.next;
    const std::size_t ended = line.frame_ends ? lines : lines + 1;
    if (!line.whole || end - first > limits_.record_bytes) return give_long(piece, line, lines);
    const std::string pointer(is_segment(line.text, "DSC") ? er7_raw_field(line.text, 1, delimiter)
                                                           : std::string_view{});
    bool frame_ended = line.frame_ends;
    std::size_t next = line.next;
    bool there = false;
    ++lines;
    for (; (there = look(next, line)) && line.kind == Kind::blank; ++lines) {
      frame_ended = frame_ended || line.frame_ends || line.frame_ends_before;
      next = line.next;
    }
    frame_ended = frame_ended || line.frame_ends_before;
    const bool continues = line.kind == Kind::message && !pointer.empty() && line.text.size() > 3 &&
                           line.text[3] == delimiter && er7_raw_field(line.text, 14, delimiter) == pointer;
    if (there && (continues || (line.kind == Kind::segment && !frame_ended && !line.frame_begins))) continue;
    if (framed && !frame_ended) {
      piece.error = refuse("its MLLP frame has no end: the message may have been cut off",
                           "ask the sender for the whole message", piece.line);
    }
    give(piece, first, end);
    pass(end, ended);
    return true;
  }
}

// A message that is too long, of which `line` is what was seen last; what is left of it goes, too.
bool Er7Stream::give_long(JsonPiece& piece, Line line, std::size_t lines) {
  line_ += lines;
  piece.error =
      refuse("the message is longer than allowed", "split it, or allow longer messages", piece.line);
  bool ended = false;
  do {
    ended = line.frame_ends;
    pass_line(line);
  } while (!ended && look(0, line) && (line.kind == Kind::segment || line.kind == Kind::blank) &&
           !line.frame_begins && !line.frame_ends_before);
  return true;
}

// Lines that belong to no message.
bool Er7Stream::give_stray(JsonPiece& piece, Line line) {
  begin(piece, line);
  piece.error = refuse("these lines belong to no message", "begin each message with MSH", line_);
  const std::size_t first = line.begin;
  std::size_t end = 0, lines = 0;
  do {
    if (!line.whole || line.next - first > limits_.record_bytes) {
      if (end == 0) {
        pass_line(line);
        return true;
      }
      break;  // the next piece begins here
    }
    end = line.next;
    ++lines;
  } while (look(end, line) && line.kind == Kind::segment && !line.frame_begins);
  give(piece, first, end);
  pass(end, lines);
  return true;
}

bool Er7Stream::give_count(JsonPiece& piece, const Line& line, std::uint64_t counted,
                           std::string_view message) {
  const auto said = line.text.size() > 3 ? er7_raw_field(line.text, 1, line.text[3]) : std::string_view{};
  const auto count = count_of(said);
  if (said.empty() || (count && *count == counted)) return false;
  begin(piece, line);
  piece.error = refuse(std::string(message) + "; there are " + std::to_string(counted),
                       "ask the sender whether messages are missing", line_);
  give(piece, line.begin, line.next);
  return true;
}

Er7Stream::Header Er7Stream::header_at(const Line& line) const {
  return {std::string(line.text), line_, before_buffer_ + at_ + line.begin};
}

// Where the batch has to be over, and `with_file` the file: what has no end, one at a time.
bool Er7Stream::give_open(JsonPiece& piece, bool with_file) {
  const bool of_batch = !batch_header_.text.empty();
  Header& open = of_batch ? batch_header_ : file_header_;
  if (open.text.empty() || (!of_batch && !with_file)) return false;
  piece.bytes = std::move(open.text);
  piece.ordinal = ++ordinal_;
  piece.line = open.line;
  piece.column = 1;
  piece.offset = open.offset;
  piece.error = refuse(of_batch ? "this batch has no end (BTS)" : "this file of batches has no end (FTS)",
                       "ask the sender whether messages are missing", piece.line);
  open = {};
  return true;
}

bool Er7Stream::next(JsonPiece& piece) {
  piece.error.reset();
  piece.parts.clear();
  if (!started_) {
    started_ = true;
    while (buffer_.size() < byte_order_mark.size() && fill()) {
    }
    if (buffer_.starts_with(byte_order_mark)) at_ = byte_order_mark.size();
  }
  Line line;
  while (look(0, line)) {
    bool given = false;
    switch (line.kind) {
      case Kind::message:
        return give_message(piece, line);
      case Kind::segment:
        return give_stray(piece, line);
      case Kind::blank:
        break;
      case Kind::file_header:
        if (give_open(piece, true)) return true;
        file_header_ = header_at(line);
        messages_ = batches_ = 0;
        break;
      case Kind::batch_header:
        if (give_open(piece, false)) return true;
        batch_header_ = header_at(line);
        messages_ = 0;
        break;
      case Kind::batch_end:
        ++batches_;
        given = give_count(piece, line, messages_, "the batch says another number of messages (BTS-1)");
        break;
      case Kind::file_end:
        if (give_open(piece, false)) return true;
        given = batches_ != 0 &&
                give_count(piece, line, batches_, "the file says another number of batches (FTS-1)");
        break;
    }
    pass_line(line);
    if (line.kind == Kind::batch_end || line.kind == Kind::file_end) {
      batch_header_ = {};
      messages_ = 0;
    }
    if (line.kind == Kind::file_end) {
      file_header_ = {};
      batches_ = 0;
    }
    if (given) return true;
  }
  if (!source_error_) return give_open(piece, true);
  piece.bytes.clear();
  piece.ordinal = ++ordinal_;
  piece.line = line_;
  piece.column = 1;
  piece.offset = before_buffer_ + at_;
  piece.error = std::move(*source_error_);
  source_error_.reset();
  return true;
}

}  // namespace charpie::syntax
