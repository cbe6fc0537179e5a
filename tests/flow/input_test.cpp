#include "flow/input.hpp"

#include <doctest/doctest.h>

#include "temporary.hpp"

using namespace charpie;
using namespace charpie::flow;

TEST_CASE("files follow each other, and no batch holds pieces of two") {
  const TemporaryFolder folder;
  const auto a = folder.write("a", "{\"id\":1}\n{\"id\":2}\n{\"id\":3}\n");
  const auto empty = folder.write("empty", "\n");
  const auto b = folder.write("b", "[{\"id\":4},{\"id\":5}]");
  Input input({a, empty, b}, Syntax::json, {2, 1000});
  std::vector<std::string> seen;
  Batch batch;
  while (true) {
    batch.clear();
    auto more = input.fill(batch);
    REQUIRE(more);
    if (!*more) break;
    std::string line = batch.file == a ? "a:" : batch.file == b ? "b:" : "empty:";
    for (std::size_t i = 0; i < batch.count; ++i)
      line += batch.pieces[i].error ? "error" : batch.pieces[i].bytes;
    seen.push_back(line);
  }
  REQUIRE(seen.size() == 4);
  CHECK(seen[0] == "a:{\"id\":1}{\"id\":2}");
  CHECK(seen[1] == "a:{\"id\":3}");
  CHECK(seen[2] == "empty:error");  // an empty file is said, not passed over
  CHECK(seen[3] == "b:{\"id\":4}{\"id\":5}");
}

TEST_CASE("a batch ends with its bytes, too") {
  const TemporaryFolder folder;
  const auto a = folder.write("a", "{\"id\":\"0123456789\"}\n{\"id\":\"0123456789\"}\n{\"id\":1}\n");
  Input input({a}, Syntax::json, {100, 30});
  Batch batch;
  REQUIRE(input.fill(batch));
  CHECK(batch.count == 2);
}

TEST_CASE("a file that cannot be read is an error with its name, after what was read before it") {
  const TemporaryFolder folder;
  const auto a = folder.write("a", "{\"id\":1}\n");
  Input input({a, folder.file("missing")});
  Batch batch;
  auto first = input.fill(batch);
  REQUIRE(first);
  CHECK(*first);
  CHECK(batch.count == 1);
  batch.clear();
  auto second = input.fill(batch);
  REQUIRE_FALSE(second);
  CHECK(second.error().kind == Error::unreadable);
  CHECK(second.error().file == folder.file("missing"));

  Input of_a_folder({folder.path.string()});
  batch.clear();
  auto refused = of_a_folder.fill(batch);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().kind == Error::unreadable);
}

TEST_CASE("pieces know where they stood") {
  const TemporaryFolder folder;
  const std::string text = "\n{\"id\":1}\n  {\"id\":2}\n";
  Input input({folder.write("a", text)});
  Batch batch;
  REQUIRE(input.fill(batch));
  REQUIRE(batch.count == 2);
  CHECK(batch.pieces[0].line == 2);
  CHECK(batch.pieces[1].line == 3);
  CHECK(batch.pieces[1].column == 3);
  for (std::size_t i = 0; i < 2; ++i) {
    const auto& piece = batch.pieces[i];
    CHECK(text.substr(piece.offset, piece.bytes.size()) == piece.bytes);
  }
}
