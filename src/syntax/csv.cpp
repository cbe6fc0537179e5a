#include "syntax/csv.hpp"

#include <array>

namespace charpie::syntax {

std::size_t CsvTable::column(std::string_view name) const {
  for (std::size_t i = 0; i < header.size(); ++i) {
    if (header[i] == name) return i;
  }
  return none;
}

std::string_view CsvTable::cell(const Row& row, std::string_view name) const {
  const auto at = column(name);
  return at == none ? std::string_view{} : std::string_view{row.cells[at]};
}

namespace {

// What an unquoted cell cannot hold (RFC 4180, 2.5). All tables are read at each start of the program.
constexpr std::array<bool, 256> ends_cell = [] {
  std::array<bool, 256> ends{};
  for (const char c : {',', '"', '\n', '\r'}) ends[static_cast<unsigned char>(c)] = true;
  return ends;
}();

// Walks the text once; one row at a time.
struct CsvReader {
  std::string_view text;
  std::string_view file;
  std::size_t at = 0;
  std::size_t line = 1;
  std::size_t line_start = 0;

  bool done() const { return at >= text.size(); }

  Error error(std::string message, std::string mend) const {
    return {Error::invalid, std::move(message),  std::string(file),
            line,           at - line_start + 1, std::move(mend)};
  }

  void skip_line_end() {
    if (!done() && text[at] == '\r') ++at;
    if (!done() && text[at] == '\n') ++at;
    ++line;
    line_start = at;
  }

  // Blank lines and comment lines stand between rows only, never inside one.
  void skip_comments() {
    while (!done() && (text[at] == '#' || text[at] == '\n' || text[at] == '\r')) {
      while (!done() && text[at] != '\n' && text[at] != '\r') ++at;
      if (!done()) skip_line_end();
    }
  }

  Result<std::vector<std::string>> row(std::size_t expected) {
    std::vector<std::string> cells;
    cells.reserve(expected);
    while (true) {
      if (auto done_well = next_cell(cells.emplace_back()); !done_well) return done_well.error();
      if (done()) return cells;
      if (text[at] == ',') {
        ++at;
        continue;
      }
      skip_line_end();
      return cells;
    }
  }

  // Appends the next cell's text to `cell`.
  Outcome next_cell(std::string& cell) {
    if (done() || text[at] != '"') {
      const auto start = at;
      while (!done() && !ends_cell[static_cast<unsigned char>(text[at])]) ++at;
      if (!done() && text[at] == '"')
        return error("a quote stands inside an unquoted cell", "quote the cell and double the quote");
      cell.assign(text.substr(start, at - start));
      return std::monostate{};
    }
    ++at;
    while (true) {
      if (done()) return error("a quoted cell is not closed", "add the closing quote");
      if (text[at] == '"') {
        if (at + 1 < text.size() && text[at + 1] == '"') {
          cell += '"';
          at += 2;
          continue;
        }
        ++at;
        break;
      }
      if (text[at] == '\n') {
        ++line;
        line_start = at + 1;
      }
      cell += text[at++];
    }
    if (!done() && text[at] != ',' && text[at] != '\n' && text[at] != '\r') {
      return error("text follows a closing quote", "put the whole cell inside the quotes");
    }
    return std::monostate{};
  }
};

}  // namespace

Result<CsvTable> read_csv_table(std::string_view text, std::string_view file_name) {
  CsvReader reader{text, file_name};
  if (text.starts_with("\xEF\xBB\xBF")) reader.at = reader.line_start = 3;
  CsvTable table;
  reader.skip_comments();
  if (reader.done()) return reader.error("the table has no header row", "name the columns in the first row");
  auto header = reader.row(8);
  if (!header) return header.error();
  table.header = std::move(*header);
  for (reader.skip_comments(); !reader.done(); reader.skip_comments()) {
    const auto line = reader.line;
    auto cells = reader.row(table.header.size());
    if (!cells) return cells.error();
    if (cells->size() != table.header.size()) {
      return Error{Error::invalid,
                   "the row has " + std::to_string(cells->size()) + " cells, the header " +
                       std::to_string(table.header.size()),
                   std::string(file_name),
                   line,
                   1,
                   "quote cells that hold commas; give every column a cell"};
    }
    table.rows.push_back({line, std::move(*cells)});
  }
  return table;
}

}  // namespace charpie::syntax
