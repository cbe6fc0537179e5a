#include "syntax/json_stream.hpp"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <random>
#include <string>
#include <vector>

using namespace charpie;
using namespace charpie::syntax;

namespace {

// Hands out few bytes at a time, so that every boundary falls everywhere; fails at a given offset when asked
// to.
class DripSource final : public ByteSource {
 public:
  DripSource(std::string_view text, std::size_t step, std::size_t fails_at = std::string::npos)
      : text_(text), step_(step), fails_at_(fails_at) {}
  Result<std::size_t> read(char* to, std::size_t size) override {
    if (at_ >= fails_at_)
      return Error{Error::unreadable, "the disk is gone", "visits.ndjson", 0, 0, "try again"};
    const std::size_t count = std::min({step_, size, text_.size() - at_, fails_at_ - at_});
    text_.copy(to, count, at_);
    at_ += count;
    return count;
  }

 private:
  std::string_view text_;
  std::size_t step_;
  std::size_t fails_at_;
  std::size_t at_ = 0;
};

// One line a piece: "line:column bytes" or "line:column ! message | bytes".
std::vector<std::string> pieces(ByteSource& source, std::string_view text, JsonStreamLimits limits = {}) {
  JsonStream stream(source, limits);
  std::vector<std::string> rows;
  JsonPiece piece;
  while (stream.next(piece)) {
    REQUIRE(rows.size() < 100000);
    REQUIRE(piece.ordinal == rows.size() + 1);
    REQUIRE(text.substr(piece.offset, piece.bytes.size()) == piece.bytes);
    std::string row = std::to_string(piece.line) + ":" + std::to_string(piece.column) + " ";
    if (piece.error) {
      row += "! " + piece.error->message + " | ";
      if (piece.error->kind == Error::invalid) {
        REQUIRE(piece.error->line == piece.line);
        REQUIRE(piece.error->column == piece.column);
        REQUIRE_FALSE(piece.error->mend.empty());
      }
    }
    rows.push_back(row + piece.bytes);
  }
  REQUIRE_FALSE(stream.next(piece));
  return rows;
}

void check_pieces(const std::string& text, const std::vector<std::string>& expected,
                  JsonStreamLimits limits = {}) {
  CAPTURE(text);
  TextSource whole(text);
  CHECK(pieces(whole, text, limits) == expected);
  for (const std::size_t step : {1u, 2u, 3u, 7u}) {
    for (const std::size_t chunk : {1u, 5u, 4096u}) {
      CAPTURE(step);
      CAPTURE(chunk);
      limits.chunk_bytes = chunk;
      DripSource drip(text, step);
      REQUIRE(pieces(drip, text, limits) == expected);
    }
  }
}

using Rows = std::vector<std::string>;

}  // namespace

TEST_CASE("one object, an array, one object a line, objects spread over lines") {
  check_pieces(R"({"a":1})", {R"(1:1 {"a":1})"});
  check_pieces("\xEF\xBB\xBF {\"a\":1}\n", {R"(1:2 {"a":1})"});
  check_pieces("\n\n  {\n  \"a\": {\n    \"b\": [1, {}]\n  }\n}\n",
               {"3:3 {\n  \"a\": {\n    \"b\": [1, {}]\n  }\n}"});
  check_pieces("[]", {});
  check_pieces("\xEF\xBB\xBF [ ] \n", {});
  check_pieces(R"([{"a":1},{"b":[{}]} , {}])", {R"(1:2 {"a":1})", R"(1:10 {"b":[{}]})", "1:23 {}"});
  check_pieces("[\n{\"a\":1},\n{\"b\":2}\n]\n", {R"(2:1 {"a":1})", R"(3:1 {"b":2})"});
  check_pieces("{\"a\":1}\n{\"b\":2}\n", {R"(1:1 {"a":1})", R"(2:1 {"b":2})"});
  check_pieces("{\"a\":1}\r\n\r\n  \r\n{\"b\":2}", {R"(1:1 {"a":1})", R"(4:1 {"b":2})"});
  check_pieces("{\"a\":1}{\"b\":2} {}", {R"(1:1 {"a":1})", R"(1:8 {"b":2})", "1:16 {}"});
  check_pieces("{\n \"a\": 1\n}\n{\n \"b\": 2\n}\n", {"1:1 {\n \"a\": 1\n}", "4:1 {\n \"b\": 2\n}"});
  check_pieces("{\n\"list\": [\n{\n\"x\": 1\n},\n{\n\"x\":\n{}\n}\n]\n}\n{\n}\n",
               {"1:1 {\n\"list\": [\n{\n\"x\": 1\n},\n{\n\"x\":\n{}\n}\n]\n}", "12:1 {\n}"});
}

TEST_CASE("braces, quotes and line ends inside strings are text") {
  check_pieces(R"({"a":"}{][\"\\"}{"b":"\\\\\""})", {R"(1:1 {"a":"}{][\"\\"})", R"(1:17 {"b":"\\\\\""})"});
  check_pieces("[{\"a\":\"],[{\\\"\"},{}]", {"1:2 {\"a\":\"],[{\\\"\"}", "1:17 {}"});
  check_pieces("{\"a\":\"x\\n{\"}\n{}\n", {"1:1 {\"a\":\"x\\n{\"}", "2:1 {}"});
  check_pieces("{\"a\":\"\xC3\xA9\"} {}", {"1:1 {\"a\":\"\xC3\xA9\"}", "1:12 {}"});
}

TEST_CASE("what is empty or begins with neither bracket nor brace") {
  const std::string empty = "! the input is empty | ";
  check_pieces("", {"1:1 " + empty});
  check_pieces(" \n\t ", {"2:3 " + empty});
  check_pieces("\xEF\xBB\xBF", {"1:1 " + empty});
  const std::string none = "! this is no JSON object | ";
  check_pieces("id,length\n1,2\n", {"1:1 " + none + "id,length\n1,2\n"});
  check_pieces("<Bundle/>", {"1:1 " + none + "<Bundle/>"});
  check_pieces("x {\"a\":1}\n{\"b\":2}", {"1:1 " + none + "x {\"a\":1}\n", "2:1 {\"b\":2}"});
  check_pieces("4.0", {"1:1 " + none + "4.0"});
  check_pieces("\"text\"\n{\"a\":1}\n", {"1:1 " + none + "\"text\"\n", "2:1 {\"a\":1}"});
}

TEST_CASE("a broken line never takes its neighbours with it") {
  const std::string open = "! a record is not closed | ";
  const std::string none = "! this is no JSON object | ";
  const std::string good_1 = "{\"id\":\"1\"}";
  const std::string good_3 = "{\"id\":\"3\"}";
  // Each broken line as the first, a middle and the last line.
  for (const std::string broken :
       {"{\"id\":\"2\"", "{\"id\":\"2", "{\"id\":", "{\"id\":[", "{\"id\":[1,", "{\"id\":{\"a\":1}", "{",
        "{\"id\":\"2\\", "{\"id\":[}", "{\"id\":[2}}", "{\"id\":2]", "{\"id\":\"2}", "{\"a\":[[[[[",
        "{\"a\":{\"b\":{\"c\":\"", "{\"id\":\"2\\\""}) {
    const std::string middle = good_1 + "\n" + broken + "\n" + good_3 + "\n";
    check_pieces(middle, {"1:1 " + good_1, "2:1 " + open + broken + "\n", "3:1 " + good_3});
    check_pieces(broken + "\n" + good_1 + "\n" + good_3,
                 {"1:1 " + open + broken + "\n", "2:1 " + good_1, "3:1 " + good_3});
    check_pieces(good_1 + "\n" + good_3 + "\n" + broken,
                 {"1:1 " + good_1, "2:1 " + good_3, "3:1 " + open + broken});
    check_pieces(broken, {"1:1 " + open + broken});
    check_pieces(broken + "\n" + broken + "\n" + good_3,
                 {"1:1 " + open + broken + "\n", "2:1 " + open + broken + "\n", "3:1 " + good_3});
  }
  // One object a line has been seen, so a line with a brace is a record.
  check_pieces(good_1 + "\n{\"id\":[\n" + good_3 + "\n]}\n",
               {"1:1 " + good_1, "2:1 " + open + "{\"id\":[\n", "3:1 " + good_3, "4:1 " + none + "]}\n"});
  check_pieces(good_1 + "}\n" + good_3 + "\n", {"1:1 " + good_1, "1:11 " + none + "}\n", "2:1 " + good_3});
  check_pieces(good_1 + " and more\n \n  " + good_3 + "\n",
               {"1:1 " + good_1, "1:12 " + none + "and more\n \n  ", "3:3 " + good_3});
  check_pieces("{\"id\":\"two\nlines\"}\n" + good_3,
               {"1:1 " + open + "{\"id\":\"two\nlines\"}\n", "3:1 " + good_3});
  check_pieces(good_1 + ",\n" + good_3 + "\n",
               {"1:1 " + good_1, "1:11 ! a comma stands between records that are not in an array | ,",
                "2:1 " + good_3});
  check_pieces(good_1 + "," + good_3,
               {"1:1 " + good_1, "1:11 ! a comma stands between records that are not in an array | ,",
                "1:12 " + good_3});
}

TEST_CASE("a broken array") {
  const std::string lost = "! a record is not closed; the rest of the array is lost with it | ";
  const std::string open = "! the array of records is not closed | ";
  check_pieces("[", {"1:2 " + open});
  check_pieces("[{}", {"1:2 {}", "1:4 " + open});
  check_pieces("[{},\n", {"1:2 {}", "2:1 " + open});
  check_pieces("[{},{\"a\":[}\n, {}]", {"1:2 {}", "1:5 " + lost + "{\"a\":[}\n, {}]"});
  check_pieces("[{\"a\":\"x}, {}]\n", {"1:2 " + lost + "{\"a\":\"x}, {}]\n"});
  check_pieces("[{\"a\":\"x\ny\"}, {}]", {"1:2 {\"a\":\"x\ny\"}", "2:6 {}"});
  check_pieces("[{} {\"b\":1}]",
               {"1:2 {}", "1:5 ! a comma is missing between two records of the array | ", "1:5 {\"b\":1}"});
  check_pieces("[{},]", {"1:2 {}", "1:5 ! a comma stands before the closing bracket of the array | "});
  check_pieces("[,{}]", {"1:2 ! a comma stands where a record should be | ,", "1:3 {}"});
  check_pieces("[{},,{}]", {"1:2 {}", "1:5 ! a comma stands where a record should be | ,", "1:6 {}"});
  check_pieces("[{}] x", {"1:2 {}", "1:6 ! text follows the array | x"});
  check_pieces("[{}]\n[{}]\n", {"1:2 {}", "2:1 ! text follows the array | [{}]\n"});
  check_pieces("[]]", {"1:3 ! text follows the array | ]"});
  const std::string other = "! an element of the array is not an object | ";
  check_pieces("[1,{},\"a,]\\\"\",[{},2],null]",
               {"1:2 " + other + "1", "1:4 {}", "1:7 " + other + "\"a,]\\\"\"", "1:15 " + other + "[{},2]",
                "1:22 " + other + "null"});
  check_pieces("[{}},{}]", {"1:2 {}", "1:4 ! a comma is missing between two records of the array | ",
                            "1:4 " + other + "}", "1:6 {}"});
  check_pieces("[\"a", {"1:2 " + other + "\"a", "1:4 " + open});
}

TEST_CASE("a record too long is one error, and the next are read") {
  JsonStreamLimits limits;
  limits.record_bytes = 10;
  const std::string lengthy = "! a record is longer than 10 bytes | ";
  const std::string big = "{\"a\":\"" + std::string(100, 'x') + "\"}";
  check_pieces("{\"a\":1234}\n", {"1:1 {\"a\":1234}"}, limits);
  check_pieces("{\"a\":12345}\n", {"1:1 " + lengthy}, limits);
  check_pieces("{\"a\":1}\n" + big + "\n{\"a\":2}\n", {"1:1 {\"a\":1}", "2:1 " + lengthy, "3:1 {\"a\":2}"},
               limits);
  check_pieces("[{\"a\":1}," + big + ",{\"a\":2}]", {"1:2 {\"a\":1}", "1:10 " + lengthy, "1:119 {\"a\":2}"},
               limits);
  // Lines inside one that is too long are no places to go back to; a new line with a brace ends it.
  check_pieces("{\"a\":[\n{\"b\":1234567890},\n{\"c\":1}\n", {"1:1 " + lengthy, "3:1 {\"c\":1}"}, limits);
  check_pieces("{\"a\":[1,2,3,4,5,6,\n{\"b\":2}\n", {"1:1 " + lengthy, "2:1 {\"b\":2}"}, limits);
  // Too long and never closed.
  check_pieces("{\"a\":\"" + std::string(100, 'x') + "\n{\"a\":2}\n", {"1:1 " + lengthy, "2:1 {\"a\":2}"},
               limits);
  check_pieces(std::string(100, 'x') + "\n{\"a\":2}\n", {"1:1 " + lengthy, "2:1 {\"a\":2}"}, limits);
}

TEST_CASE("memory does not grow with the input") {
  // A source that would be 200 MB as one text.
  class Endless final : public ByteSource {
   public:
    Result<std::size_t> read(char* to, std::size_t size) override {
      std::size_t count = 0;
      while (left_ > 0 && count + row_.size() <= size) {
        std::copy(row_.begin(), row_.end(), to + count);
        count += row_.size();
        --left_;
      }
      return count;
    }

   private:
    std::string row_ = "{\"note\":\"" + std::string(980, 'n') + "\"}\n";
    std::size_t left_ = 20000;
  };
  Endless source;
  JsonStream stream(source);
  JsonPiece piece;
  std::size_t count = 0;
  while (stream.next(piece)) {
    REQUIRE_FALSE(piece.error);
    REQUIRE(piece.line == ++count);
    REQUIRE(piece.bytes.capacity() < 4096);
  }
  CHECK(count == 20000);
}

TEST_CASE("a source that fails is told apart from an end") {
  const std::string text = "{\"a\":1}\n{\"b\":2}\n";
  for (std::size_t fails_at = 0; fails_at <= text.size(); ++fails_at) {
    DripSource source(text, 3, fails_at);
    JsonStream stream(source);
    JsonPiece piece;
    int errors = 0;
    while (stream.next(piece)) {
      if (!piece.error) continue;
      ++errors;
      CHECK(piece.error->kind == Error::unreadable);
      CHECK(piece.error->file == "visits.ndjson");
    }
    CAPTURE(fails_at);
    CHECK(errors == 1);
  }
  const std::string array = "[{\"a\":1},5, {}]";
  for (std::size_t fails_at = 0; fails_at <= array.size(); ++fails_at) {
    DripSource source(array, 2, fails_at);
    JsonStream stream(source);
    JsonPiece piece;
    int unreadable = 0;
    while (stream.next(piece)) unreadable += piece.error && piece.error->kind == Error::unreadable;
    CAPTURE(fails_at);
    CHECK(unreadable == 1);
  }
}

TEST_CASE("random records come back as nlohmann::json wrote them, in all three shapes") {
  std::mt19937 random(3);
  const auto value = [&](const auto& self, int depth) -> nlohmann::json {
    switch (random() % (depth > 3 ? 4 : 6)) {
      case 0:
        return static_cast<int>(random() % 1000);
      case 1:
        return std::string("t\"ext\n{[ \\") + std::to_string(random() % 100);
      case 2:
        return nullptr;
      case 3:
        return random() % 2 == 0;
      case 4: {
        auto list = nlohmann::json::array();
        for (auto i = random() % 4; i > 0; --i) list.push_back(self(self, depth + 1));
        return list;
      }
      default: {
        auto object = nlohmann::json::object();
        for (auto i = random() % 4; i > 0; --i) object["k}" + std::to_string(i)] = self(self, depth + 1);
        return object;
      }
    }
  };
  for (int round = 0; round < 200; ++round) {
    std::vector<nlohmann::json> records;
    for (auto i = random() % 8 + 1; i > 0; --i) {
      auto record = nlohmann::json::object();
      record["v"] = value(value, 0);
      records.push_back(record);
    }
    const int indent = random() % 2 == 0 ? -1 : static_cast<int>(random() % 3);
    std::string lines;
    std::string spread;
    std::string array = "[";
    for (const auto& record : records) {
      lines += record.dump() + "\n";
      spread += record.dump(indent) + (random() % 2 == 0 ? "\n" : " \r\n\n");
      array += (array.size() > 1 ? "," : "") + record.dump(indent);
    }
    for (const std::string& text : {lines, spread, array + "]"}) {
      CAPTURE(text);
      DripSource source(text, 1 + random() % 40);
      JsonStreamLimits limits;
      limits.chunk_bytes = 1 + random() % 64;
      JsonStream stream(source, limits);
      JsonPiece piece;
      std::size_t count = 0;
      while (stream.next(piece)) {
        REQUIRE_FALSE(piece.error);
        REQUIRE(count < records.size());
        REQUIRE(nlohmann::json::parse(piece.bytes) == records[count]);
        ++count;
      }
      REQUIRE(count == records.size());
    }
  }
}
