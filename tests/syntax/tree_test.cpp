#include "syntax/tree.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace charpie::syntax;

TEST_CASE("names have numbers of their own, whatever their count") {
  Names names;
  CHECK(names.find("id") == 0);
  for (std::uint32_t i = 1; i <= 3000; ++i) REQUIRE(names.add("name" + std::to_string(i)) == i);
  for (std::uint32_t i = 1; i <= 3000; ++i) {
    const std::string name = "name" + std::to_string(i);
    REQUIRE(names.find(name) == i);
    REQUIRE(names.add(name) == i);
    REQUIRE(names.text(i) == name);
  }
  CHECK(names.find("name0") == 0);
  CHECK(names.find("") == 0);
  CHECK(names.text(0).empty());
  const auto empty = names.add("");
  CHECK(names.find("") == empty);
}
