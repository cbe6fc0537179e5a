// Throws bytes at the CSV reader of others' files, its groups and the writer. Pieces must not depend on how
// the bytes come; what is accepted must survive being written and read again; groups are the same with and
// without disk.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "base/utf8.hpp"
#include "syntax/csv_groups.hpp"
#include "syntax/csv_stream.hpp"
#include "syntax/csv_write.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

// Header and rows as a text; good rows also go to `written`.
std::string read(std::string_view bytes, const CsvReading& how, std::string* written) {
  TextSource source(bytes);
  CsvRows rows(source, how);
  const auto header = rows.header();
  if (!header) {
    require(!header.error().message.empty() && !header.error().mend.empty());
    return header.error().message;
  }
  CsvWriting writing;
  writing.delimiter = how.delimiter;
  std::string all;
  if (written != nullptr) append_csv_header(*header, writing, *written);
  JsonPiece piece;
  std::uint64_t count = 1;
  std::size_t line = 0;
  while (rows.next(piece)) {
    require(piece.ordinal == ++count && piece.line + (piece.error ? 1 : 0) > line);
    line = piece.line;
    Arena arena;
    all += std::to_string(piece.line) + " " + piece.bytes;
    if (piece.error) {
      all += piece.error->message;
    } else {
      const auto row = read_csv_row(piece.bytes, *header, how, arena, Names());
      if (!row) {
        require(row.error().line >= 1 && row.error().column >= 1);
        all += row.error().message;
      } else {
        for (const Node* cell = (*row)->first; cell != nullptr; cell = cell->next) {
          require(is_utf8(cell->text) && cell->begin < cell->end && cell->end <= piece.bytes.size());
        }
        append_json(**row, all);
        if (written != nullptr) require(bool(append_csv_row(**row, *header, writing, *written)));
      }
    }
    all += '\n';
  }
  return all;
}

std::string gather(std::string_view bytes, const CsvReading& how, std::size_t memory) {
  TextSource visits(bytes), findings(bytes);
  TextSource start(bytes);
  CsvRows rows(start, how);
  const auto header = rows.header();
  if (!header) return {};
  std::vector<CsvSource> sources(2);
  sources[0].name = "visits";
  sources[0].bytes = &visits;
  sources[1].name = "findings";
  sources[1].bytes = &findings;
  for (auto& source : sources) {
    source.how = how;
    source.key = {header->columns.back()};
    source.once = &source == &sources.front() && bytes.size() % 8 == 3;
  }
  CsvGrouping grouping;
  grouping.memory = memory;
  grouping.group_bytes = 300;
  auto groups = CsvGroups::open(std::move(sources), grouping);
  require(bool(groups));
  JsonPiece piece;
  std::string all;
  while ((*groups)->next(piece)) {
    all += piece.bytes + (piece.error ? piece.error->message : "") + "\n";
    Arena arena;
    if (!piece.error)
      require(bool(read_csv_group(piece, (*groups)->sources(), (*groups)->headers(), arena, Names())));
  }
  return all;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  // Held, so that the C library does not load and unload them each time.
  static const auto latin = Recoder::to_utf8("ISO-8859-1"), wide = Recoder::to_utf8("UTF-16LE");
  require(latin && wide);
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  CsvReading how;
  how.delimiter = ",;\t|"[data[0] & 3];
  const char* const charsets[] = {"", "", "ISO-8859-1", "UTF-16LE"};
  how.charset = charsets[(data[0] >> 2) & 3];
  how.limits = {100, 60, 20, 1 + data[0] / 16u};
  std::string written;
  const auto all = read(bytes, how, &written);
  how.limits.chunk_bytes = 4096;
  require(read(bytes, how, nullptr) == all);
  if (data[0] >= 0xF0 && size % 4 == 0) require(gather(bytes, how, 256) == gather(bytes, how, 1 << 14));
  // What is written is good, and says the same; quotes may have made it longer.
  how.charset.clear();
  how.limits = {};
  how.limits.chunk_bytes = 4096;
  std::string twice;
  if (!written.empty()) {
    (void)read(written, how, &twice);
    require(twice == written);
  }
  return 0;
}
