// Rows that belong together, of one CSV file or several, gathered by key columns into one piece: a visit's
// row with its findings and dressings.
//
//   {"visit": {…}, "findings": [{…}, {…}], "dressings": [{…}]}
#pragma once
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/external_sort.hpp"
#include "base/result.hpp"
#include "syntax/csv_stream.hpp"
#include "syntax/json_stream.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

/// One file. The tables of a run have as many key columns each; the first table is the one that a group must
/// have a row of.
struct CsvSource {
  std::string name;             // of the list in the tree
  ByteSource* bytes = nullptr;  // outlives the stream
  CsvReading how{};
  std::vector<std::string> key{};  // columns
  bool once = false;               // a group has one row of it, which stands as an object
  std::string file{};              // what messages call it; empty: as they call the input
};

struct CsvGrouping {
  /// All files are sorted by their key columns, byte by byte: nothing is kept but one group. Otherwise rows
  /// are sorted (base/external_sort.hpp); either way groups come in the order of their keys, and rows of a
  /// table in theirs.
  bool sorted = false;
  std::size_t memory = std::size_t{256} << 20;  // for sorting
  std::size_t group_bytes = 64u << 20;          // a larger group is one error, and its bytes are let go
};

/// A piece holds the rows of one group in UTF-8, one a line, those of the first table first; JsonPiece::parts
/// says for each row of which file and line it is. Broken pieces: a group with a row that is broken behind
/// its key, without a row of the first table, or with a second one of a table that has one; by themselves,
/// rows whose key cannot be read or is empty, and a row that is not in its place in sorted files. Error::file
/// is the source's.
class CsvGroups final : public PieceStream {
 public:
  /// Reads the headers. Error::usage: no source, keys of different length; Error::invalid with the source's
  /// file: a bad header, a key column that is not there.
  static Result<std::unique_ptr<CsvGroups>> open(std::vector<CsvSource> sources, const CsvGrouping& how = {});
  ~CsvGroups() override;

  bool next(JsonPiece& piece) override;
  /// The columns of each source, in their order; they do not change.
  const std::vector<CsvHeader>& headers() const { return headers_; }
  const std::vector<CsvSource>& sources() const { return sources_; }
  std::size_t spills() const { return sort_.spills(); }

 private:
  struct Row {
    std::string key, bytes;
    std::size_t source = 0, line = 0;
    bool there = false;
    bool broken = false;  // behind its key
  };
  enum class Step : unsigned char { row, broken, end };

  CsvGroups(std::vector<CsvSource> sources, const CsvGrouping& how);
  Outcome cells_of(const Row& row);
  Step take(std::size_t source, Row& row, JsonPiece& broken);
  Step next_sorted(Row& row, JsonPiece& broken);
  Step next_from_sort(Row& row, JsonPiece& broken);
  Step fail(const Row& row, Error error, JsonPiece& broken);
  void spoil(const Row& row, Error error);
  void add(const Row& row);
  void give(JsonPiece& piece);

  std::vector<CsvSource> sources_;
  CsvGrouping how_;
  std::vector<CsvHeader> headers_;
  std::vector<std::vector<std::size_t>> keys_;  // columns of each source
  std::vector<std::unique_ptr<CsvRows>> rows_;
  std::vector<Row> heads_;  // the next row of each source, when files are sorted
  std::vector<std::string> last_keys_;
  ExternalSort sort_;       // all rows, when they are not
  std::size_t loaded_ = 0;  // sources that are in sort_
  Row ahead_;               // read, and not yet in the group
  JsonPiece group_;         // being gathered
  std::string key_;         // of it
  bool too_large_ = false, ended_ = false, failed_ = false;
  std::optional<Error> spoiled_;  // the first that is wrong with it
  std::uint64_t ordinal_ = 0;
  JsonPiece row_piece_;
  std::vector<CsvCell> cells_;
  std::string body_;
  Arena arena_;
};

/// A group's piece as a tree: a member for each source that has rows, {"name": [row, …]}. Error::invalid with
/// line and column in the source, as read_csv_row: not of a piece that CsvGroups gave without an error.
Result<Node*> read_csv_group(const JsonPiece& piece, const std::vector<CsvSource>& sources,
                             const std::vector<CsvHeader>& headers, Arena& arena, const Names& names);

}  // namespace charpie::syntax
