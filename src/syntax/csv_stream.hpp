// CSV of others (RFC 4180, any delimiter, any character set): cut into rows, one at a time and in flat
// memory, and rows read into trees. Our own small tables are read by syntax/csv.hpp.
//
// A row is {"column": "cell", …} in the order of the header. An empty cell says nothing and is not there;
// nothing is trimmed.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "syntax/charset.hpp"
#include "syntax/json_stream.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

struct CsvLimits {
  std::size_t row_bytes = 16u << 20;
  std::size_t cell_bytes = 1u << 20;  // decoded
  std::size_t columns = 10'000;
  std::size_t chunk_bytes = 256u << 10;  // asked from the source at a time
};

struct CsvReading {
  char delimiter = ',';
  std::string charset{};  // iconv's name; empty: UTF-8, or UTF-16 when a byte-order mark says so
  CsvLimits limits{};
};

/// A delimiter by its name ("comma", "semicolon", "tab", "bar", "space") or as the character itself.
/// Error::usage for what is neither, and for a letter, digit, quote or line end.
Result<char> csv_delimiter(std::string_view text);

/// The columns of a file, by their names as written.
struct CsvHeader {
  std::vector<std::string> columns;
  static constexpr std::size_t none = static_cast<std::size_t>(-1);
  /// The column of that name, or `none`.
  std::size_t column(std::string_view name) const;
};

/// The cells of one row, decoded, as the bytes between its ends. Error::invalid with line and column in the
/// row: a quote inside an unquoted cell, text behind a closing quote, a quoted cell that is not closed, a
/// limit passed, bytes that are not UTF-8 (then all cells are there, and some of them have those). Messages
/// never repeat the data.
struct CsvCell {
  std::string_view text{};  // decoded: of the row's bytes or of the arena
  std::uint32_t begin = 0;  // as written, quotes included
  std::uint32_t end = 0;
};
Outcome read_csv_cells(std::string_view row, const CsvReading& how, Arena& arena,
                       std::vector<CsvCell>& cells);

/// What to say of a row with so many cells, which are not as many as the header has.
Error csv_cell_count(std::size_t cells, const CsvHeader& header, std::size_t line);

/// Names a node of the arena; `name` may go away, `names` may not.
void name_node(Node& node, std::string_view name, Arena& arena, const Names& names);

/// One row as a tree that lives in the arena; strings are views into `row` where nothing had to be decoded.
/// Errors as above, and when the row has fewer or more cells than the header.
Result<Node*> read_csv_row(std::string_view row, const CsvHeader& header, const CsvReading& how, Arena& arena,
                           const Names& names);

/// Splits a file into rows. Lines end with CRLF, LF or CR, inside of quotes they do not; empty lines are no
/// rows. A piece is a row in UTF-8 without its line end; whether its cells are good is for read_csv_row.
///
/// Broken pieces: a row that is too long (its bytes are let go), a quote that is not closed until the end or
/// until the row is too long (the piece is the line with that quote; reading goes on behind it), bytes that
/// are not of the character set (the last piece). Memory: one row at most and a chunk.
class CsvRows final : public PieceStream {
 public:
  /// The source must outlive the stream.
  explicit CsvRows(ByteSource& source, const CsvReading& how = {});

  /// Reads the first row as the header; to be called once, before next(). Error::invalid: no row, a bad row,
  /// a column name that stands twice, more columns than allowed; Error::usage: an unknown character set.
  Result<CsvHeader> header();
  bool next(JsonPiece& piece) override;

 private:
  void read_chunk(std::string& into);
  void recode();
  bool fill();
  bool scan(std::size_t& end, std::size_t& lines, bool& open);
  void pass(std::size_t end, std::size_t lines);
  bool give_broken(JsonPiece& piece, std::size_t end, std::string message, std::string mend);
  void drop_line(std::size_t from, std::size_t lines);
  bool begin();

  ByteSource& source_;
  CsvReading how_;
  std::optional<Recoder> recoder_;  // none: the bytes are UTF-8
  std::string raw_;                 // bytes still to be recoded
  std::string buffer_;              // UTF-8
  std::size_t at_ = 0;              // next row
  std::size_t line_ = 1;
  std::uint64_t ordinal_ = 0, before_buffer_ = 0;
  bool started_ = false, source_ended_ = false;
  std::optional<Error> trouble_;  // with the source or its character set: told when what came before is told
};

}  // namespace charpie::syntax
