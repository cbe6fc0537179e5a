#include "syntax/csv_write.hpp"

#include <vector>

#include "base/decimal.hpp"

namespace charpie::syntax {

namespace {

// What a spreadsheet may take for a formula (common practice, no source); a negative number is none.
bool looks_like_formula(std::string_view text) {
  return !text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos &&
         !is_decimal(text);
}

void append_cell(std::string_view text, char delimiter, bool alone, std::string& out) {
  // A byte-order mark at the front of a file would be taken for one; an empty line is no row.
  const bool quoted = text.find_first_of("\"\r\n") != std::string_view::npos ||
                      text.find(delimiter) != std::string_view::npos || text.starts_with("\xEF\xBB\xBF") ||
                      (alone && text.empty());
  if (!quoted) {
    out += text;
    return;
  }
  out += '"';
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  out += '"';
}

}  // namespace

void append_csv_cells(std::span<const std::string_view> cells, const CsvWriting& how, std::string& out) {
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (i != 0) out += how.delimiter;
    append_cell(cells[i], how.delimiter, cells.size() == 1, out);
  }
  out += how.line_end;
}

void append_csv_header(const CsvHeader& header, const CsvWriting& how, std::string& out) {
  const std::vector<std::string_view> cells(header.columns.begin(), header.columns.end());
  append_csv_cells(cells, how, out);
}

Result<std::size_t> append_csv_row(const Node& row, const CsvHeader& header, const CsvWriting& how,
                                   std::string& out) {
  std::vector<std::string_view> cells(header.columns.size());
  std::vector<std::string> marked;
  marked.reserve(row.count);  // views into it must stay
  const auto refuse = [](std::string_view column, std::string_view what, std::string_view mend) {
    return Error{Error::invalid, std::string(column) + ": " + std::string(what), {}, 0, 0, std::string(mend)};
  };
  if (!row.is_object()) return refuse("row", "a row is no object", "give an object of columns");
  for (const Node* cell = row.first; cell != nullptr; cell = cell->next) {
    const std::size_t column = header.column(cell->name_text);
    if (column == CsvHeader::none)
      return refuse(cell->name_text, "the table has no such column", "name it in the header");
    if (cell->is_object() || cell->is_array())
      return refuse(cell->name_text, "a cell is no scalar", "give a string or a number");
    if (cell->kind == NodeKind::null) continue;
    cells[column] = cell->text;
    if (how.mark_formulas && cell->is_string() && looks_like_formula(cell->text)) {
      cells[column] = marked.emplace_back("'" + std::string(cell->text));
    }
  }
  append_csv_cells(cells, how, out);
  return marked.size();
}

}  // namespace charpie::syntax
