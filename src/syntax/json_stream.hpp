// Cuts a stream of JSON into records, one at a time and in flat memory, without parsing them.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"

namespace charpie::syntax {

/// Where bytes come from: a file, standard input, a text in memory.
class ByteSource {
 public:
  virtual ~ByteSource() = default;
  /// Fills up to `size` bytes (size > 0), returns how many; 0 at the end; Error::unreadable when reading
  /// failed.
  virtual Result<std::size_t> read(char* to, std::size_t size) = 0;
};

/// A source over bytes that outlive it.
class TextSource final : public ByteSource {
 public:
  explicit TextSource(std::string_view text) : rest_(text) {}
  Result<std::size_t> read(char* to, std::size_t size) override;

 private:
  std::string_view rest_;
};

/// Where a stretch of a piece stood, when the piece was put together from several places.
struct PiecePart {
  std::uint32_t source = 0;          // which of the stream's sources, counted from 0
  std::uint32_t begin = 0;           // of the stretch in the piece's bytes
  std::size_t line = 0, column = 1;  // of the source, 1-based
  std::string file{};                // where sources are files of their own; empty: the piece's
};

/// One record's bytes, or a stretch of the input that is none.
struct JsonPiece {
  std::string bytes;  // owned, so that a worker may keep them; a broken stretch keeps its bytes as they came
  std::uint64_t ordinal = 0;  // 1, 2, 3, … over records and broken stretches alike
  std::size_t line = 0;       // line of the input on which `bytes` start, 1-based
  std::size_t column = 0;     // byte column there, 1-based
  std::uint64_t offset = 0;   // of `bytes` in the input
  std::string
      context{};  // of an XML element: the namespace declarations that hold there (syntax/xml_stream.hpp)
  std::optional<Error> error;      // set when the piece is no record; says line and what to do
  bool begins_table = false;       // the first behind the headers of CSV, which are its context
  std::vector<PiecePart> parts{};  // in the order of `bytes`; empty when these stood together
  /// Whether its parts came out of files of their own.
  bool is_of_several_files() const { return !parts.empty() && !parts.front().file.empty(); }
};

/// Whatever cuts an input into pieces.
class PieceStream {
 public:
  virtual ~PieceStream() = default;
  /// Puts the next piece in `piece` (reusing its memory); false at the end. When the source cannot be read,
  /// one piece with Error::unreadable comes last.
  virtual bool next(JsonPiece& piece) = 0;
};

struct JsonStreamLimits {
  std::size_t record_bytes = 64u << 20;  // a longer record is one error, and its bytes are let go
  std::size_t chunk_bytes = 256u << 10;  // asked from the source at a time
};

/// Splits one JSON object, an array of objects, or objects one after another (one a line, or spread over
/// lines). The first character that is not white space decides: '[' is an array, all else is objects one
/// after another.
///
/// A record ends where its braces balance; whether it is good JSON is for read_json(). Objects one after
/// another: a broken one ends before the next line that starts with '{', so that it never takes its
/// neighbours with it. (Such a line inside an object is taken for a new record only where no value could
/// stand, or after a record was seen whole on one line; objects printed without indentation work as long as
/// they are whole.) In an array, an element that is never closed takes the rest, as one error. Memory: one
/// record at most and a chunk.
class JsonStream final : public PieceStream {
 public:
  /// The source must outlive the stream.
  explicit JsonStream(ByteSource& source, const JsonStreamLimits& limits = {});

  bool next(JsonPiece& piece) override;

  /// Whether the input is an array; known after the first next().
  bool is_array() const { return shape_ == Shape::array; }

 private:
  enum class Shape { unknown, array, sequence, ended };
  enum class Ending { whole, cut, exhausted };

  bool next_in_array(JsonPiece& piece);
  bool next_in_sequence(JsonPiece& piece);
  bool after_array(JsonPiece& piece);

  bool fill();
  int peek();
  int peek_after();
  void step();
  int skip_white_space();

  void begin(JsonPiece& piece);
  bool give(JsonPiece& piece);
  bool give_broken(JsonPiece& piece, std::string message, std::string mend);
  Ending scan_object(bool in_array);
  void scan_other_element();
  void scan_to_line_with_object();
  void scan_rest();

  bool too_long() const { return dropped_ || at_ - kept_from_ > limits_.record_bytes; }
  std::size_t column() const { return before_buffer_ + at_ - line_start_ + 1; }

  ByteSource& source_;
  JsonStreamLimits limits_;
  std::string buffer_;
  std::size_t kept_from_ = 0;      // the current piece starts here; what is in front may go
  std::size_t at_ = 0;             // next byte
  std::size_t end_ = 0;            // one past the last byte read
  std::size_t before_buffer_ = 0;  // bytes of the input in front of the buffer
  std::size_t line_start_ = 0;     // offset in the input
  std::size_t line_ = 1;
  std::uint64_t ordinal_ = 0;
  Shape shape_ = Shape::unknown;
  bool one_a_line_ = false;      // a record was whole on a line: a line that starts with '{' starts a record
  bool element_before_ = false;  // in an array: a comma must come first
  bool dropped_ = false;         // the current piece is too long, its bytes are let go
  bool source_ended_ = false;
  std::optional<Error> source_error_;
};

}  // namespace charpie::syntax
