#include "base/arena.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using charpie::Arena;

TEST_CASE("an arena's pieces are aligned, apart, and keep what was put in them") {
  Arena arena;
  for (int round = 0; round < 3; ++round) {
    std::vector<std::pair<std::string_view, std::string>> kept;
    for (std::size_t i = 1; i < 2000; ++i) {
      const std::string text(i % 97 + 1, static_cast<char>('a' + i % 26));
      kept.push_back({arena.keep(text), text});
      const auto* number = arena.make<double>(1.5);
      CHECK(reinterpret_cast<std::uintptr_t>(number) % alignof(double) == 0);
    }
    kept.push_back({arena.keep(std::string(3 << 20, 'z')), std::string(3 << 20, 'z')});
    for (const auto& [view, text] : kept) REQUIRE(view == text);
    const int* row = arena.make_row<int>(1000);
    for (int i = 0; i < 1000; ++i) REQUIRE(row[i] == 0);
    CHECK(arena.make_row<int>(0) == nullptr);
    CHECK(arena.keep("").empty());
    arena.reset();
  }
}

TEST_CASE("an arena keeps within its blocks") {
  Arena arena;
  // A block made for this one size leaves eight bytes, three past a multiple of eight: no double fits there.
  const std::size_t size = (2 << 20) + 3;
  const char* large = static_cast<char*>(arena.allocate(size, 8));
  const char* number = reinterpret_cast<const char*>(arena.make<double>(1.5));
  CHECK((number < large || number >= large + size + 8));
  struct alignas(64) Wide {
    char bytes[64];
  };
  const auto* row = arena.make_row<Wide>(100000);
  CHECK(reinterpret_cast<std::uintptr_t>(row) % 64 == 0);
}
