#include "syntax/csv_groups.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>
#include <string>

#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

struct File {
  std::string name, bytes;
  std::vector<std::string> key;
  bool once = false;
};

std::string gather(const std::vector<File>& files, const CsvGrouping& how, std::size_t* spills = nullptr) {
  std::vector<TextSource> texts;
  texts.reserve(files.size());
  std::vector<CsvSource> sources;
  for (const auto& file : files) {
    auto& source = sources.emplace_back();
    source.name = file.name;
    source.bytes = &texts.emplace_back(file.bytes);
    source.key = file.key;
    source.once = file.once;
    source.file = file.name;
  }
  auto opened = CsvGroups::open(std::move(sources), how);
  if (!opened) {
    CHECK_FALSE(opened.error().mend.empty());
    return "refused " + opened.error().file + ":" + std::to_string(opened.error().line) + " " +
           opened.error().message;
  }
  auto& groups = **opened;
  JsonPiece piece;
  std::string all;
  std::uint64_t ordinal = 0;
  while (groups.next(piece)) {
    CHECK(piece.ordinal == ++ordinal);
    REQUIRE_FALSE(piece.parts.empty());
    for (const auto& part : piece.parts) {
      CHECK(part.file == files[part.source].name);
      all += std::to_string(part.source) + ":" + std::to_string(part.line) + " ";
    }
    if (piece.error) {
      CHECK_FALSE(piece.error->mend.empty());
      all += piece.error->file + ":" + std::to_string(piece.error->line) + " [" + piece.bytes + "] " +
             piece.error->message;
    } else {
      Arena arena;
      const auto tree = read_csv_group(piece, groups.sources(), groups.headers(), arena, Names());
      REQUIRE(bool(tree));
      for (const Node* list = (*tree)->first; list != nullptr; list = list->next) {
        for (const Node* row = list->first; row != nullptr; row = row->next) {
          for (const Node* cell = row->first; cell != nullptr; cell = cell->next) {  // none: a cell itself
            CHECK(piece.bytes.substr(cell->begin, cell->end - cell->begin).find(cell->text.substr(0, 1)) !=
                  std::string::npos);
          }
        }
      }
      append_json(**tree, all);
    }
    all += "\n";
  }
  CHECK_FALSE(groups.next(piece));
  if (spills != nullptr) *spills = groups.spills();
  return all;
}

const std::vector<File> visit_files = {
    {"visits", "visit,wound\nb,2\na,1\n", {"visit"}},
    {"findings", "of,what,value\na,length,4.0\nb,odor,none\na,\"two\nlines\",x\n", {"of"}},
    {"dressings", "role,visit\ncover,a\n", {"visit"}},
};

}  // namespace

TEST_CASE("rows of several files come together by their keys, each with its file and line") {
  const std::string expected =
      "0:3 1:2 1:4 2:2 "
      "{\"visits\":[{\"visit\":\"a\",\"wound\":\"1\"}],\"findings\":[{\"of\":\"a\",\"what\":\"length\","
      "\"value\":\"4.0\"},"
      "{\"of\":\"a\",\"what\":\"two\\nlines\",\"value\":\"x\"}],\"dressings\":[{\"role\":\"cover\",\"visit\":"
      "\"a\"}]}\n"
      "0:2 1:3 "
      "{\"visits\":[{\"visit\":\"b\",\"wound\":\"2\"}],\"findings\":[{\"of\":\"b\",\"what\":\"odor\","
      "\"value\":\"none\"}]}\n";
  CHECK(gather(visit_files, {}) == expected);
  std::size_t spills = 0;
  CHECK(gather(visit_files, {.memory = 0}, &spills) == expected);
  CHECK(spills > 0);
}

TEST_CASE("sorted files need no sorting; a row that is not in its place is told") {
  const std::vector<File> files = {
      {"visits", "id\na\nb\nd\nc\ne\n", {"id"}},
      {"findings", "id,v\na,1\na,2\nc,0\nd,3\n", {"id"}},
  };
  CHECK(gather(files, {.sorted = true}) ==
        "0:2 1:2 1:3 "
        "{\"visits\":[{\"id\":\"a\"}],\"findings\":[{\"id\":\"a\",\"v\":\"1\"},{\"id\":\"a\",\"v\":\"2\"}]}\n"
        "0:3 {\"visits\":[{\"id\":\"b\"}]}\n"
        "1:4 findings:4 [c,0\n] no row of 'visits' has the key of these rows\n"
        "0:5 visits:5 [c] the row is not in its place: the file is not sorted by its key\n"
        "0:4 1:5 {\"visits\":[{\"id\":\"d\"}],\"findings\":[{\"id\":\"d\",\"v\":\"3\"}]}\n"
        "0:6 {\"visits\":[{\"id\":\"e\"}]}\n");
}

TEST_CASE("keys of several columns meet only when each column does") {
  const std::vector<File> files = {{"rows", "p,v,x\na,bc,1\nab,c,2\na,bc,3\n,c,4\n", {"p", "v"}}};
  CHECK(gather(files, {}) ==
        "0:5 {\"rows\":[{\"v\":\"c\",\"x\":\"4\"}]}\n"
        "0:2 0:4 {\"rows\":[{\"p\":\"a\",\"v\":\"bc\",\"x\":\"1\"},{\"p\":\"a\",\"v\":\"bc\",\"x\":\"3\"}]}\n"
        "0:3 {\"rows\":[{\"p\":\"ab\",\"v\":\"c\",\"x\":\"2\"}]}\n");
}

TEST_CASE("a row that is broken behind its key holds its group back, and the rest is gathered") {
  const std::vector<File> files = {
      {"visits", "id,x\na,1\nb\n,2\nc,\"3\"y\nd,4\n", {"id"}},
      {"findings", "id,v\na,1\na\nd,1\nc,1\nz,1\n", {"id"}},
  };
  for (const std::size_t memory : {std::size_t{1} << 20, std::size_t{0}}) {
    CHECK(gather(files, {.memory = memory}) ==
          "0:4 visits:4 [,2] the row has no key\n"
          "0:2 1:2 1:3 findings:3 [a,1\na,1\na\n] the row has 1 cells, the header 2\n"
          "0:3 visits:3 [b\n] the row has 1 cells, the header 2\n"
          "0:5 1:5 visits:5 [c,\"3\"y\nc,1\n] text follows a closing quote\n"
          "0:6 1:4 {\"visits\":[{\"id\":\"d\",\"x\":\"4\"}],\"findings\":[{\"id\":\"d\",\"v\":\"1\"}]}\n"
          "1:6 findings:6 [z,1\n] no row of 'visits' has the key of these rows\n");
  }
  // A quote that nobody closes stands behind the key, too.
  CHECK(gather({{"visits", "id,x\na,1\nb,2\na,\"3\nc,4\n", {"id"}}}, {}) ==
        "0:2 0:4 visits:4 [a,1\na,\"3\n] a quoted cell is not closed\n"
        "0:3 {\"visits\":[{\"id\":\"b\",\"x\":\"2\"}]}\n"
        "0:5 {\"visits\":[{\"id\":\"c\",\"x\":\"4\"}]}\n");
  const std::vector<File> sorted = {{"visits", "id,x\na,1\nb\nc,3\n", {"id"}},
                                    {"findings", "id\nb\n", {"id"}}};
  CHECK(gather(sorted, {.sorted = true}) ==
        "0:2 {\"visits\":[{\"id\":\"a\",\"x\":\"1\"}]}\n"
        "0:3 1:2 visits:3 [b\nb\n] the row has 1 cells, the header 2\n"
        "0:4 {\"visits\":[{\"id\":\"c\",\"x\":\"3\"}]}\n");
}

TEST_CASE("a byte of no character behind the key leaves the row with its group") {
  CHECK(gather({{"visits", "id,x\na,1\na,\xFF\nb,2\n", {"id"}}}, {}) ==
        "0:2 0:3 visits:3 [a,1\na,\xFF\n] the row has bytes that are not of its character set\n"
        "0:4 {\"visits\":[{\"id\":\"b\",\"x\":\"2\"}]}\n");
}

TEST_CASE("a row whose key cannot be read is told by itself") {
  CHECK(gather({{"visits", "x,id\n\"1\"y,a\n2,a\n", {"id"}}}, {}) ==
        "0:2 visits:2 [\"1\"y,a] text follows a closing quote\n"
        "0:3 {\"visits\":[{\"x\":\"2\",\"id\":\"a\"}]}\n");
}

TEST_CASE("a table that a group has one row of stands as an object, and a second row is refused") {
  const std::vector<File> files = {
      {"visit", "id,x\na,1\nb,2\nc,3\nb,4\n", {"id"}, true},
      {"findings", "id\na\nb\n", {"id"}},
  };
  CHECK(gather(files, {}) ==
        "0:2 1:2 {\"visit\":{\"id\":\"a\",\"x\":\"1\"},\"findings\":[{\"id\":\"a\"}]}\n"
        "0:3 0:5 1:3 visit:5 [b,2\nb,4\nb\n] the key stands in line 3, too\n"
        "0:4 {\"visit\":{\"id\":\"c\",\"x\":\"3\"}}\n");
}

TEST_CASE("what cannot be gathered is refused before any row is read") {
  CHECK(gather({}, {}) == "refused :0 no table is named");
  CHECK(gather({{"a", "x\n1\n", {}}}, {}) == "refused :0 the tables have not the same number of key columns");
  CHECK(gather({{"a", "x\n", {"x"}}, {"b", "x,y\n", {"x", "y"}}}, {}) ==
        "refused :0 the tables have not the same number of key columns");
  CHECK(gather({{"a", "x\n1\n", {"y"}}}, {}) ==
        "refused a:1 the table has no column 'y', which is of its key");
  CHECK(gather({{"a", "x,x\n", {"x"}}}, {}) == "refused a:1 two columns have one name");
}

TEST_CASE("a group that is too large is one error") {
  const std::vector<File> files = {{"rows", "k,v\na,12345\na,12345\na,12345\nb,1\n", {"k"}}};
  CHECK(gather(files, {.group_bytes = 16}) ==
        "0:2 rows:2 [] the rows of one key are larger than allowed\n0:5 "
        "{\"rows\":[{\"k\":\"b\",\"v\":\"1\"}]}\n");
}

TEST_CASE("sorted or not, with much memory or little, the groups are the same") {
  std::mt19937 random(20260302);
  for (int round = 0; round < 30; ++round) {
    std::vector<std::string> keys;
    for (unsigned i = 0; i < 40; ++i) keys.push_back("k" + std::to_string(random() % 20));
    std::string unsorted = "k,n\n", findings = "k,n\n";
    for (const auto& key : keys) {
      unsorted += key + "," + std::to_string(random() % 9) + "\n";
      if (random() % 2 == 0) findings += key + ",f\n";
    }
    const std::vector<File> files = {{"v", unsorted, {"k"}}, {"f", findings, {"k"}}};
    const auto whole = gather(files, {});
    CHECK(gather(files, {.memory = 100}) == whole);
    std::vector<File> ordered = files;
    for (auto& file : ordered) {
      std::vector<std::string> lines;
      std::size_t at = 4;
      while (at < file.bytes.size()) {
        const auto end = file.bytes.find('\n', at);
        lines.push_back(file.bytes.substr(at, end - at));
        at = end + 1;
      }
      // By key alone, so that rows of one key keep their order.
      std::stable_sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) {
        return a.substr(0, a.find(',')) < b.substr(0, b.find(','));
      });
      file.bytes = "k,n\n";
      for (const auto& line : lines) file.bytes += line + "\n";
    }
    const auto without_places = [](const std::string& text) {
      std::string bare;
      for (std::size_t at = 0; at < text.size();) {
        const auto end = text.find('\n', at);
        bare += text.substr(text.find('{', at), end + 1 - text.find('{', at));
        at = end + 1;
      }
      return bare;
    };
    CHECK(without_places(gather(ordered, {.sorted = true})) == without_places(whole));
  }
}
