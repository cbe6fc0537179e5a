#include "syntax/csv.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace charpie;
using namespace charpie::syntax;

namespace {

using Row = std::vector<std::string>;

CsvTable table(std::string_view text) {
  auto result = read_csv_table(text, "codes.csv");
  REQUIRE_MESSAGE(bool(result), (result ? "" : result.error().message));
  return std::move(*result);
}

std::string refusal(std::string_view text) {
  const auto result = read_csv_table(text, "codes.csv");
  if (result) return "";
  CHECK(result.error().file == "codes.csv");
  CHECK(result.error().kind == Error::invalid);
  CHECK_FALSE(result.error().mend.empty());
  return std::to_string(result.error().line) + ":" + std::to_string(result.error().column) + " " +
         result.error().message;
}

}  // namespace

TEST_CASE("cells as RFC 4180 section 2 writes them") {
  // Rules 1 to 7 of that section, with values of our own.
  const CsvTable read =
      table("word,code,note\r\nserous,1,\r\n\"a,b\",\"say \"\"ah\"\"\",\"two\r\nlines\"\r\nlast,2,x");
  CHECK(read.header == Row{"word", "code", "note"});
  REQUIRE(read.rows.size() == 3);
  CHECK(read.rows[0].cells == Row{"serous", "1", ""});
  CHECK(read.rows[1].cells == Row{"a,b", "say \"ah\"", "two\r\nlines"});
  CHECK(read.rows[2].cells == Row{"last", "2", "x"});
  CHECK(read.rows[0].line == 2);
  CHECK(read.rows[1].line == 3);
  CHECK(read.rows[2].line == 5);
  CHECK(read.column("code") == 1);
  CHECK(read.column("Code") == CsvTable::none);
  CHECK(read.cell(read.rows[2], "note") == "x");
  CHECK(read.cell(read.rows[2], "other").empty());
}

TEST_CASE("comments, blank lines, a byte-order mark") {
  const CsvTable read =
      table("\xEF\xBB\xBF# what this is for, \"free\" text\n\na,b\n# between\n\n1,#2\n\n\"#3\",4\n# end");
  CHECK(read.header == Row{"a", "b"});
  REQUIRE(read.rows.size() == 2);
  CHECK(read.rows[0].cells == Row{"1", "#2"});
  CHECK(read.rows[0].line == 6);
  CHECK(read.rows[1].cells == Row{"#3", "4"});
  CHECK(table("a\n\"\"\n").rows.size() == 1);
  CHECK(table("a\n \n").rows[0].cells == Row{" "});
}

TEST_CASE("what is refused, and where") {
  CHECK(refusal("") == "1:1 the table has no header row");
  CHECK(refusal("# nothing\n\n") == "3:1 the table has no header row");
  CHECK(refusal("a,b\n1\n") == "2:1 the row has 1 cells, the header 2");
  CHECK(refusal("a,b\n\n1,2,3\n") == "3:1 the row has 3 cells, the header 2");
  CHECK(refusal("a,b\n1,x\"y\n") == "2:4 a quote stands inside an unquoted cell");
  CHECK(refusal("a,b\n1,\"x\"y\n") == "2:6 text follows a closing quote");
  CHECK(refusal("a,b\n1,\"x\n") == "3:1 a quoted cell is not closed");
  CHECK(refusal("a,b\n\"1\n2\",\"x\"y\n") == "3:7 text follows a closing quote");
}
