#include "base/external_sort.hpp"

#include <doctest/doctest.h>
#include <stdlib.h>

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <random>
#include <string>
#include <utility>
#include <vector>

using namespace charpie;

namespace {

using Entries = std::vector<std::pair<std::string, std::string>>;

// Few keys, so that many entries share one; bodies tell the order in which they were added.
Entries some(unsigned seed, unsigned count) {
  std::mt19937 random(seed);
  Entries entries;
  for (unsigned i = 0; i < count; ++i) {
    std::string key(random() % 3, static_cast<char>(random() % 4 == 0 ? 0xFF : 'k'));
    key += std::to_string(random() % 50);
    entries.emplace_back(key, std::to_string(i) + std::string(random() % 200, 'b'));
  }
  return entries;
}

Entries sorted(ExternalSort& sort) {
  Entries out;
  const auto done = sort.drain(
      [&](const SortedEntry& entry) { out.emplace_back(std::string(entry.key), std::string(entry.body)); });
  CHECK(bool(done));
  return out;
}

}  // namespace

TEST_CASE("entries come out sorted, those of one key in their order, whatever memory is allowed") {
  for (const std::size_t memory :
       {std::size_t{0}, std::size_t{5000}, std::size_t{100000}, std::size_t{64} << 20}) {
    ExternalSort sort(memory);
    for (const unsigned seed : {1u, 2u}) {  // twice: it can be filled again
      auto entries = some(seed, memory == 0 ? 300 : 4000);
      for (const auto& [key, body] : entries) REQUIRE(bool(sort.add(key, body)));
      std::stable_sort(entries.begin(), entries.end(),
                       [](const auto& a, const auto& b) { return a.first < b.first; });
      CHECK(sorted(sort) == entries);
    }
    if (memory == 0) CHECK(sort.spills() > 2 * 64);  // more than may be open: files are joined on the way
    CHECK((sort.spills() == 0) == (memory > 1000000));
  }
}

TEST_CASE("entries are taken one at a time, empty ones too, and what is not taken goes away") {
  ExternalSort sort(1000);
  SortedEntry entry;
  auto more = sort.next(entry);
  REQUIRE(bool(more));
  CHECK_FALSE(*more);
  for (int i = 0; i < 100; ++i) REQUIRE(bool(sort.add(i % 2 == 0 ? "" : "a", i % 3 == 0 ? "" : "body")));
  more = sort.next(entry);
  REQUIRE(bool(more));
  CHECK(*more);
  CHECK(entry.key.empty());
  CHECK(entry.body.empty());
  CHECK(sorted(sort).size() == 99);
}

TEST_CASE("temporary files have no name, and a folder that takes none is told") {
  const auto folder = std::filesystem::temp_directory_path() / "charpie-external-sort-test";
  std::filesystem::create_directories(folder);
  const char* before = getenv("TMPDIR");
  const std::string kept = before == nullptr ? "" : before;
  setenv("TMPDIR", folder.c_str(), 1);
  {
    ExternalSort sort(1000);
    for (int i = 0; i < 100; ++i) REQUIRE(bool(sort.add(std::to_string(i), "body")));
    CHECK(sort.spills() > 0);
    CHECK(std::filesystem::is_empty(folder));
  }
  setenv("TMPDIR", (folder / "missing").c_str(), 1);
  {
    ExternalSort sort(0);
    CHECK(bool(sort.add("a", "")));
    const auto refused = sort.add("b", "");
    REQUIRE_FALSE(bool(refused));
    CHECK(refused.error().kind == Error::unwritable);
    CHECK_FALSE(refused.error().mend.empty());
  }
  before == nullptr ? unsetenv("TMPDIR") : setenv("TMPDIR", kept.c_str(), 1);
  std::filesystem::remove_all(folder);
}
