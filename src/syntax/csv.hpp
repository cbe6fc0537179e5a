// Small CSV tables with a header row (RFC 4180), as the mapping tables are written: read whole, looked up by
// name.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"

namespace charpie::syntax {

/// A table in memory. Cells are the decoded text; row and line numbers serve messages.
struct CsvTable {
  struct Row {
    std::size_t line;                // 1-based line of the row's first character
    std::vector<std::string> cells;  // as many as the header has
  };
  std::vector<std::string> header;
  std::vector<Row> rows;

  static constexpr std::size_t none = static_cast<std::size_t>(-1);
  /// The column of that name, or `none`.
  std::size_t column(std::string_view name) const;
  /// The cell of a row in the column of that name; empty when there is no such column.
  std::string_view cell(const Row& row, std::string_view name) const;
};

/// Reads UTF-8 CSV with a header row. Lines that start with '#' before the header or between rows are
/// comments. Error::invalid with line and column for a missing header, a stray quote, an open quote at the
/// end, or a row whose number of cells is not the header's.
Result<CsvTable> read_csv_table(std::string_view text, std::string_view file_name);

}  // namespace charpie::syntax
