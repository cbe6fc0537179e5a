// Rows written out as CSV (RFC 4180), quoted only where they must be.
#pragma once
#include <cstddef>
#include <span>
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "syntax/csv_stream.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

struct CsvWriting {
  char delimiter = ',';
  std::string_view line_end = "\r\n";
  /// Puts an apostrophe in front of text that a spreadsheet may take for a formula: what begins with = + - @
  /// TAB or CR and is no decimal number. It stays in the cell when that is read again.
  bool mark_formulas = false;
};

/// Appends one row of cells.
void append_csv_cells(std::span<const std::string_view> cells, const CsvWriting& how, std::string& out);

/// Appends the header.
void append_csv_header(const CsvHeader& header, const CsvWriting& how, std::string& out);

/// Appends a tree {"column": value, …} as a row: strings, numbers and booleans by their text, null and what
/// is missing as an empty cell. Gives how many cells were marked as formulas. Error::invalid, and nothing
/// appended: a member that is no column, or a value that is no scalar; it names the column.
Result<std::size_t> append_csv_row(const Node& row, const CsvHeader& header, const CsvWriting& how,
                                   std::string& out);

}  // namespace charpie::syntax
