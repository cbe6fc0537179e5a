#include "base/hash.hpp"

#include <doctest/doctest.h>

#include <set>
#include <string>

using namespace charpie;

TEST_CASE("a hash is of all the bytes and of their number") {
  std::set<std::uint64_t> seen;
  std::size_t texts = 0;
  for (std::size_t size = 0; size <= 40; ++size) {
    const std::string text(size, 'a');
    CHECK(hash_of(text) == hash_of(std::string(text)));
    seen.insert(hash_of(text));
    ++texts;
    for (std::size_t place = 0; place < size; ++place) {
      for (const char c : {'b', '\0'}) {
        std::string other = text;
        other[place] = c;
        seen.insert(hash_of(other));
        ++texts;
      }
    }
  }
  CHECK(seen.size() == texts);
}
