// Cuts a stream of HL7 version 2 messages into single messages, one at a time and in flat memory, without
// parsing them.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "syntax/json_stream.hpp"

namespace charpie::syntax {

/// Splits files of messages, with or without MLLP framing (0x0B … 0x1C 0x0D) and batch segments (FHS, BHS,
/// BTS, FTS; HL7 2.5.1, 2.10.3: from memory). A piece is a message from "MSH" to the end of its last segment,
/// in its own bytes, to be read by read_er7. Messages that continue one another (DSC-1 is the next one's
/// MSH-14) are one piece when they follow each other.
///
/// Broken pieces, with their bytes: lines that belong to no message, a message that is too long (its bytes
/// are let go), BTS or FTS whose count is not that of the messages or batches before it, and BHS or FHS
/// without an end: what is missing behind it nobody can see. Lines end with CR, LF or CRLF. Memory: one
/// message at most and a chunk.
class Er7Stream final : public PieceStream {
 public:
  /// The source must outlive the stream.
  explicit Er7Stream(ByteSource& source, const JsonStreamLimits& limits = {});
  bool next(JsonPiece& piece) override;

  /// The segments FHS and BHS that the last piece stands under, as they were written; empty when there is
  /// none.
  std::string_view file_header() const { return file_header_.text; }
  std::string_view batch_header() const { return batch_header_.text; }

 private:
  enum class Kind : unsigned char { message, segment, blank, file_header, batch_header, batch_end, file_end };
  // A segment that waits for its end.
  struct Header {
    std::string text;  // empty: none does
    std::size_t line = 0;
    std::uint64_t offset = 0;
  };
  // One line of the buffer; offsets count from at_.
  struct Line {
    Kind kind = Kind::blank;
    std::string_view text{};  // without framing; good until the next look()
    std::size_t begin = 0, end = 0, next = 0;
    bool frame_ends_before = false, frame_begins = false, frame_ends = false;
    bool whole = true;  // false: it is longer than a message may be, and this is its front
  };

  bool fill();
  bool look(std::size_t from, Line& line);
  void pass(std::size_t size, std::size_t lines);
  void begin(JsonPiece& piece, const Line& line);
  void give(JsonPiece& piece, std::size_t begin, std::size_t end);
  bool give_message(JsonPiece& piece, Line line);
  bool give_long(JsonPiece& piece, Line line, std::size_t lines);
  bool give_stray(JsonPiece& piece, Line line);
  bool give_count(JsonPiece& piece, const Line& line, std::uint64_t counted, std::string_view message);
  bool give_open(JsonPiece& piece, bool with_file);
  Header header_at(const Line& line) const;
  void pass_line(const Line& line);

  ByteSource& source_;
  JsonStreamLimits limits_;
  std::string buffer_;
  std::size_t at_ = 0;  // what comes before was given
  std::size_t line_ = 1;
  std::uint64_t ordinal_ = 0, before_buffer_ = 0;
  std::uint64_t messages_ = 0, batches_ = 0;  // since the last header
  Header file_header_, batch_header_;
  bool started_ = false, source_ended_ = false;
  std::optional<Error> source_error_;
};

}  // namespace charpie::syntax
