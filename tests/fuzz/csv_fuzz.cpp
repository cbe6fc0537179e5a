// Throws bytes at the CSV reader. What is accepted must survive being written with every cell quoted and read
// again.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "syntax/csv.hpp"

using namespace charpie::syntax;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

void append_row(const std::vector<std::string>& cells, std::string& out) {
  for (std::size_t i = 0; i < cells.size(); ++i) {
    out += i == 0 ? "\"" : ",\"";
    for (const char c : cells[i]) {
      if (c == '"') out += '"';
      out += c;
    }
    out += '"';
  }
  out += "\r\n";
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto table = read_csv_table(text, "fuzz.csv");
  if (!table) {
    require(!table.error().message.empty() && table.error().line >= 1 && table.error().column >= 1);
    return 0;
  }
  std::string written;
  append_row(table->header, written);
  std::size_t line = 0;
  for (const auto& row : table->rows) {
    require(row.cells.size() == table->header.size());
    require(row.line > line);
    line = row.line;
    append_row(row.cells, written);
  }
  const auto again = read_csv_table(written, "fuzz.csv");
  require(bool(again) && again->header == table->header && again->rows.size() == table->rows.size());
  for (std::size_t i = 0; i < again->rows.size(); ++i) require(again->rows[i].cells == table->rows[i].cells);
  return 0;
}
