#include "syntax/csv_stream.hpp"

#include <doctest/doctest.h>

#include <random>
#include <string>

#include "syntax/csv_write.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

// Header and rows as lines, broken ones with their message; the same for any size of chunk.
std::string read(std::string_view bytes, CsvReading how = {}) {
  std::string first;
  for (const std::size_t chunk : {std::size_t{1}, std::size_t{3}, std::size_t{256} << 10}) {
    how.limits.chunk_bytes = chunk;
    TextSource source(bytes);
    CsvRows rows(source, how);
    std::string all;
    auto header = rows.header();
    if (!header) {
      CHECK_FALSE(header.error().mend.empty());
      all = "refused " + std::to_string(header.error().line) + ":" + std::to_string(header.error().column) +
            " " + header.error().message;
    } else {
      JsonPiece piece;
      std::uint64_t ordinal = 1;
      Arena arena;
      while (rows.next(piece)) {
        CHECK(piece.ordinal == ++ordinal);
        all += std::to_string(piece.line) + " ";
        if (piece.error) {
          CHECK(piece.error->line == piece.line);
          CHECK_FALSE(piece.error->mend.empty());
          all += "[" + piece.bytes + "] " + piece.error->message;
        } else {
          const auto row = read_csv_row(piece.bytes, *header, how, arena, Names());
          if (row) {
            append_json(**row, all);
          } else {
            CHECK_FALSE(row.error().mend.empty());
            all += std::to_string(row.error().line) + ":" + std::to_string(row.error().column) + " " +
                   row.error().message;
          }
        }
        all += "\n";
      }
      CHECK_FALSE(rows.next(piece));
    }
    if (chunk == 1) first = all;
    CHECK(all == first);
  }
  return first;
}

CsvReading with(char delimiter, std::string charset = {}) {
  CsvReading how;
  how.delimiter = delimiter;
  how.charset = std::move(charset);
  return how;
}

}  // namespace

TEST_CASE("rows as RFC 4180 section 2 writes them, with their lines") {
  // Rules 1 to 7 of that section, with values of our own.
  CHECK(read("id,note,x\r\n1,two words, y \r\n2,\"say \"\"ah\"\", then\r\nlook\",\"\"\r\n3,,z") ==
        "2 {\"id\":\"1\",\"note\":\"two words\",\"x\":\" y \"}\n3 {\"id\":\"2\",\"note\":\"say \\\"ah\\\", "
        "then\\r\\nlook\"}\n5 "
        "{\"id\":\"3\",\"x\":\"z\"}\n");
  CHECK(read("a\n\n\n1\n\r\n2\r3\r") == "4 {\"a\":\"1\"}\n6 {\"a\":\"2\"}\n7 {\"a\":\"3\"}\n");
  CHECK(read("\xEF\xBB\xBF\"a,b\",c\n\"\",\"\"\n") == "2 {}\n");
  CHECK(read("a;b\n1,5;\"2;\"", with(';')) == "2 {\"a\":\"1,5\",\"b\":\"2;\"}\n");
  CHECK(read("a\tb\n \t'x'", with('\t')) == "2 {\"a\":\" \",\"b\":\"'x'\"}\n");
  CHECK(read("a,b\n\x01,\"\x02\n\"") == "2 {\"a\":\"\\u0001\",\"b\":\"\\u0002\\n\"}\n");
  CHECK(read(std::string_view("a,b\n1\0,2\n", 9)) == "2 {\"a\":\"1\\u0000\",\"b\":\"2\"}\n");
}

TEST_CASE("a broken row is told with its line, and takes no neighbour with it") {
  CHECK(read("a,b\n1\n2,3,4\n5,6\n") ==
        "2 1:1 the row has 1 cells, the header 2\n3 1:1 the row has 3 cells, the header 2\n4 "
        "{\"a\":\"5\",\"b\":\"6\"}\n");
  CHECK(read("a,b\n1,x\"y\n\"2\"z,3\n4,5\n") ==
        "2 1:4 a quote stands inside an unquoted cell\n3 1:4 text follows a closing quote\n4 "
        "{\"a\":\"4\",\"b\":\"5\"}\n");
  CHECK(
      read("a,b\n1,\"open\n2,3\n4,5\n") ==
      "2 [1,\"open] a quoted cell is not closed\n3 {\"a\":\"2\",\"b\":\"3\"}\n4 {\"a\":\"4\",\"b\":\"5\"}\n");
  CHECK(read("a,b\n\"l\n1\",\"open\n2,3\n") ==
        "2 [\"l\n1\",\"open] a quoted cell is not closed\n4 {\"a\":\"2\",\"b\":\"3\"}\n");
  CHECK(read("a,b\n\"l\n1\"x,\xE9\n2,3\n") ==
        "2 2:3 text follows a closing quote\n4 {\"a\":\"2\",\"b\":\"3\"}\n");
}

TEST_CASE("a header names each column once") {
  CHECK(read("") == "refused 1:1 the file has no header row");
  CHECK(read("\n\n") == "refused 1:1 the file has no header row");
  CHECK(read("a,b,a\n") == "refused 1:5 two columns have one name");
  CHECK(read("\na,,b,\n") == "refused 2:6 two columns have one name");
  CHECK(read("a,\"b\n") == "refused 1:1 a quoted cell is not closed");
  CHECK(read("a,b\"\n") == "refused 1:4 a quote stands inside an unquoted cell");
  CHECK(read("a,A, a\n1,2,3") == "2 {\"a\":\"1\",\"A\":\"2\",\" a\":\"3\"}\n");
  CsvReading few;
  few.limits.columns = 2;
  CHECK(read("a,b,c\n", few) == "refused 1:5 the row has more cells than allowed");
}

TEST_CASE("character sets by their names, byte-order marks by themselves") {
  CHECK(read("a\ncaf\xE9\n", with(',', "ISO-8859-1")) == "2 {\"a\":\"caf\xC3\xA9\"}\n");
  CHECK(read("a\n\x80\n", with(',', "windows-1252")) == "2 {\"a\":\"\xE2\x82\xAC\"}\n");
  const std::string little(
      "\xFF\xFE"
      "a\0\n\0\xE9\0\n\0",
      10);
  const std::string big("\xFE\xFF\0a\0\n\0\xE9\0\n", 10);
  CHECK(read(little) == "2 {\"a\":\"\xC3\xA9\"}\n");
  CHECK(read(big) == "2 {\"a\":\"\xC3\xA9\"}\n");
  CHECK(read(std::string_view(little).substr(2), with(',', "UTF-16LE")) == "2 {\"a\":\"\xC3\xA9\"}\n");
  // Half a character may be all that a chunk brings.
  const std::string lines(
      "a\0\r\0\n\0"
      "b\0\r\0\n\0"
      "c\0",
      14);
  CHECK(read(lines, with(',', "UTF-16LE")) == "2 {\"a\":\"b\"}\n3 {\"a\":\"c\"}\n");
  CHECK(read("\xEF\xBB\xBF"
             "a\nb",
             with(',', "utf-8")) == "2 {\"a\":\"b\"}\n");
  CHECK(read("a\nb", with(',', "no-such-set")) == "refused 0:0 the character set has no known name");
  CHECK(read("a\nb", with(',', "ISO-8859-1//TRANSLIT")) == "refused 0:0 the character set has no known name");
  CHECK(read("a\n1\n2\xFF\n3\n", with(',', "ASCII")) ==
        "2 {\"a\":\"1\"}\n3 1:2 the row has bytes that are not of its character set\n4 {\"a\":\"3\"}\n");
  CHECK(read(little.substr(0, 9)) == "2 [\xC3\xA9] the file has bytes that are not of its character set\n");
}

TEST_CASE("what is too long is told, and reading goes on") {
  CsvReading how;
  how.limits.row_bytes = 10;
  CHECK(read("a\n12345678901\n2\n", how) == "2 [] the row is longer than allowed\n3 {\"a\":\"2\"}\n");
  CHECK(read("a\n1234567890\n2\n", how) == "2 {\"a\":\"1234567890\"}\n3 {\"a\":\"2\"}\n");
  CHECK(
      read("a\n\"1234\n6789012\n\"2\n", how) ==
      "2 [\"1234] a quoted cell is not closed\n3 {\"a\":\"6789012\"}\n4 [\"2] a quoted cell is not closed\n");
  CHECK(read("a\n\"1\n2\",3456789\n2\n", how) == "2 [] the row is longer than allowed\n4 {\"a\":\"2\"}\n");
  CHECK(read("a\n\"1\n2\",\"3456789\n2\n", how) == "2 [] the row is longer than allowed\n4 {\"a\":\"2\"}\n");
  how.limits = {100, 3, 10, 0};
  CHECK(read("a\n1234\n\"1234\"\n123\n", how) ==
        "2 1:1 a cell is longer than allowed\n3 1:1 a cell is longer than allowed\n4 {\"a\":\"123\"}\n");
}

TEST_CASE("a source that cannot be read is told last") {
  struct Failing final : ByteSource {
    int reads = 0;
    Result<std::size_t> read(char* to, std::size_t) override {
      if (reads++ > 0) return Error{Error::unreadable, "gone"};
      const std::string_view text = "a,b\n1,2\n3,";
      return text.copy(to, text.size());
    }
  } source;
  CsvRows rows(source);
  REQUIRE(bool(rows.header()));
  JsonPiece piece;
  REQUIRE(rows.next(piece));
  CHECK_FALSE(piece.error);
  REQUIRE(rows.next(piece));
  REQUIRE(piece.error);
  CHECK(piece.error->kind == Error::unreadable);
  CHECK_FALSE(rows.next(piece));
}

TEST_CASE("delimiters by name or as they are") {
  CHECK(*csv_delimiter("tab") == '\t');
  CHECK(*csv_delimiter("semicolon") == ';');
  CHECK(*csv_delimiter("^") == '^');
  for (const char* wrong : {"", "a", "7", "\"", "\n", "tabs", ";;"}) {
    const auto refused = csv_delimiter(wrong);
    REQUIRE_FALSE(bool(refused));
    CHECK(refused.error().kind == Error::usage);
  }
}

TEST_CASE("rows are written with as few quotes as they need") {
  const CsvHeader header{{"a", "b,c", "d"}};
  std::string out;
  CsvWriting how;
  append_csv_header(header, how, out);
  CHECK(out == "a,\"b,c\",d\r\n");
  const auto text = [](std::string_view name, std::string_view value, NodeKind kind = NodeKind::string) {
    Node node;
    node.kind = kind;
    node.name_text = name;
    node.text = value;
    return node;
  };
  const auto write = [&](std::vector<Node> cells) {
    Node row;
    row.kind = NodeKind::object;
    for (auto& cell : cells) cell.next = &cell == &cells.back() ? nullptr : &cell + 1;
    row.first = cells.empty() ? nullptr : cells.data();
    row.count = static_cast<std::uint32_t>(cells.size());
    std::string line = "before ";
    const auto marked = append_csv_row(row, header, how, line);
    if (marked) return line + std::to_string(*marked);
    CHECK(line == "before ");
    CHECK_FALSE(marked.error().mend.empty());
    return marked.error().message;
  };
  CHECK(write({text("d", "say \"ah\""), text("a", "1")}) == "before 1,,\"say \"\"ah\"\"\"\r\n0");
  CHECK(write({}) == "before ,,\r\n0");
  CHECK(write({text("a", "=1+1"), text("d", "\xEF\xBB\xBFx")}) == "before =1+1,,\"\xEF\xBB\xBFx\"\r\n0");
  CHECK(write({text("x", "1")}) == "x: the table has no such column");
  CHECK(write({text("a", "", NodeKind::array)}) == "a: a cell is no scalar");
  how = {';', "\n", true};
  CHECK(write({text("a", "=1+1"), text("b,c", "-4.0"), text("d", "-x;y")}) ==
        "before '=1+1;-4.0;\"'-x;y\"\n2");
  CHECK(write({text("a", "+1"), text("b,c", "@x"), text("d", "\tx")}) == "before '+1;'@x;'\tx\n3");
  CHECK(write({text("a", "-1e", NodeKind::number)}) == "before -1e;;\n0");
}

TEST_CASE("law: generated tables come back, whatever stands in their cells") {
  std::mt19937 random(20260302);
  const auto below = [&](unsigned n) { return static_cast<unsigned>(random() % n); };
  const char* const pieces[] = {"a",  "\"", "\"\"",     ",", ";", "\t", "\r\n",         "\n",
                                "\r", " ",  "\xC3\xA9", "#", "'", "=",  "\xEF\xBB\xBF", "\x01"};
  for (int round = 0; round < 3000; ++round) {
    CsvWriting how;
    how.delimiter = ",;\t"[below(3)];
    how.line_end = below(2) == 0 ? "\r\n" : "\n";
    CsvReading reading;
    reading.delimiter = how.delimiter;
    reading.limits.chunk_bytes = 1 + below(20);
    CsvHeader header;
    for (unsigned i = 1 + below(4); i-- > 0;)
      header.columns.push_back("c" + std::to_string(i) + pieces[below(std::size(pieces))]);
    std::string bytes;
    append_csv_header(header, how, bytes);
    std::vector<std::vector<std::string>> table(below(4));
    for (auto& row : table) {
      for (std::size_t i = 0; i < header.columns.size(); ++i) {
        auto& cell = row.emplace_back();
        for (unsigned n = below(4); n-- > 0;) cell += pieces[below(std::size(pieces))];
      }
      append_csv_cells(std::vector<std::string_view>(row.begin(), row.end()), how, bytes);
    }
    TextSource source(bytes);
    CsvRows rows(source, reading);
    const auto columns = rows.header();
    REQUIRE(bool(columns));
    CHECK(columns->columns == header.columns);
    JsonPiece piece;
    std::size_t count = 0;
    Arena arena;
    std::vector<CsvCell> cells;
    while (rows.next(piece)) {
      REQUIRE_FALSE(piece.error);
      REQUIRE(bool(read_csv_cells(piece.bytes, reading, arena, cells)));
      REQUIRE(count < table.size());
      REQUIRE(cells.size() == table[count].size());
      for (std::size_t i = 0; i < cells.size(); ++i) CHECK(cells[i].text == table[count][i]);
      ++count;
    }
    CHECK(count == table.size());
  }
}

TEST_CASE("a row's tree keeps the names of its columns when the header goes") {
  Arena arena;
  Names names;
  names.add("known");
  CsvHeader header{{"known", "a column that nobody knows"}};
  const auto row = read_csv_row("1,2", header, {}, arena, names);
  REQUIRE(row);
  for (auto& column : header.columns) column.assign(column.size(), '?');
  CHECK((*row)->first->name_text == "known");
  CHECK((*row)->first->next->name_text == "a column that nobody knows");
}

TEST_CASE("a quote that is not closed is told alike, whether bad bytes behind it were met already or not") {
  std::string wide;
  for (const char c : "a\n\"x\n" + std::string(40, 'y')) wide.append({c, '\0'});
  wide.append({'\0', '\xD8', 'z', '\0'});  // half of a surrogate pair
  const auto told = [&](std::size_t chunk_bytes) {
    TextSource source(wide);
    CsvReading how;
    how.charset = "UTF-16LE";
    how.limits.row_bytes = 20;
    how.limits.chunk_bytes = chunk_bytes;
    CsvRows rows(source, how);
    REQUIRE(rows.header());
    std::string all;
    JsonPiece piece;
    while (rows.next(piece)) all += piece.error ? piece.error->message + "\n" : piece.bytes + "\n";
    return all;
  };
  CHECK(told(4096).starts_with("a quoted cell is not closed\n"));
  CHECK(told(3) == told(4096));
}
