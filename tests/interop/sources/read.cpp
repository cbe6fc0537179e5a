// What our readers of HL7 v2 and CSV make of a file, one JSON line a piece, for the judges beside it and for
// the bench.
//   interop_sources er7 [--grouped|--count] FILE    trees of messages; with --count only how many values they
//   hold interop_sources csv DELIMITER [--rows] FILE     rows as lists of all their cells, or as trees
// A broken piece is {"error": "…"}.
#include <cstdio>
#include <fstream>
#include <iostream>
#include <string>
#include <string_view>
#include <vector>

#include "base/escape.hpp"
#include "base/tables.hpp"
#include "syntax/csv_stream.hpp"
#include "syntax/er7.hpp"
#include "syntax/er7_groups.hpp"
#include "syntax/er7_stream.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

class FileBytes final : public ByteSource {
 public:
  explicit FileBytes(const char* path) : file_(std::fopen(path, "rb")) {}
  ~FileBytes() override {
    if (file_ != nullptr) std::fclose(file_);
  }
  FileBytes(const FileBytes&) = delete;
  FileBytes& operator=(const FileBytes&) = delete;
  Result<std::size_t> read(char* to, std::size_t size) override {
    if (file_ == nullptr) return Error{Error::unreadable, "no such file"};
    return std::fread(to, 1, size, file_);
  }

 private:
  std::FILE* file_;
};

void append_error(const Error& error, std::string& out) {
  out += "{\"error\":";
  append_json_string(error.message, out);
  out += "}\n";
}

void flush(std::string& out) {
  std::fwrite(out.data(), 1, out.size(), stdout);
  out.clear();
}

std::size_t values(const Node& node) {
  std::size_t count = node.is_string() || node.kind == NodeKind::null ? 1 : 0;
  for (const Node* child = node.first; child != nullptr; child = child->next) count += values(*child);
  return count;
}

int read_messages(std::string_view how, const char* path) {
  const Tables tables(embedded_tables());
  const auto structures = Er7Structures::load(*tables.find("sites/er7-groups.csv"), "er7-groups.csv");
  if (!structures) return 1;
  FileBytes source(path);
  Er7Stream stream(source);
  JsonPiece piece;
  Arena arena;
  const Names names;
  std::string out;
  std::size_t count = 0;
  while (stream.next(piece)) {
    arena.reset();
    auto message = piece.error ? Result<Er7Document>(*piece.error) : read_er7(piece.bytes, arena, names);
    if (!message) {
      append_error(message.error(), out);
    } else if (how == "--count") {
      count += values(*message->root);
    } else {
      if (how == "--grouped") structures->group(*message->root, arena, names);
      append_json(*message->root, out);
      out += '\n';
    }
    if (out.size() > 1u << 16) flush(out);
  }
  if (how == "--count") out += std::to_string(count) + "\n";
  flush(out);
  return 0;
}

int read_rows(std::string_view delimiter, bool as_trees, const char* path) {
  CsvReading how;
  const auto known = csv_delimiter(delimiter);
  if (!known) return 2;
  how.delimiter = *known;
  FileBytes source(path);
  CsvRows rows(source, how);
  std::string out;
  const auto header = rows.header();
  if (!header) {
    append_error(header.error(), out);
    flush(out);
    return 0;
  }
  JsonPiece piece;
  Arena arena;
  const Names names;
  std::vector<CsvCell> cells;
  const auto append_cells = [&](const auto& texts, auto text_of) {
    out += '[';
    for (std::size_t i = 0; i < texts.size(); ++i) {
      if (i != 0) out += ',';
      append_json_string(text_of(texts[i]), out);
    }
    out += "]\n";
  };
  if (!as_trees)
    append_cells(header->columns, [](const std::string& name) { return std::string_view(name); });
  while (rows.next(piece)) {
    arena.reset();
    if (piece.error) {
      append_error(*piece.error, out);
    } else if (as_trees) {
      const auto row = read_csv_row(piece.bytes, *header, how, arena, names);
      if (row) {
        append_json(**row, out);
        out += '\n';
      } else {
        append_error(row.error(), out);
      }
    } else if (auto read = read_csv_cells(piece.bytes, how, arena, cells); !read) {
      append_error(read.error(), out);
    } else {
      append_cells(cells, [](const CsvCell& cell) { return cell.text; });
    }
    if (out.size() > 1u << 16) flush(out);
  }
  flush(out);
  return 0;
}

}  // namespace

int main(int count, char** arguments) {
  const std::vector<std::string_view> words(arguments + 1, arguments + count);
  if (words.size() >= 2 && words[0] == "er7")
    return read_messages(words.size() > 2 ? words[1] : "", arguments[count - 1]);
  if (words.size() >= 3 && words[0] == "csv")
    return read_rows(words[1], words.size() > 3, arguments[count - 1]);
  std::cerr << "interop_sources er7 [--grouped|--count] FILE | csv DELIMITER [--rows] FILE\n";
  return 2;
}
