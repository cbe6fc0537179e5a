#include "base/text.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace charpie;

TEST_CASE("two texts are the same when each byte of them is") {
  for (std::size_t size = 0; size <= 40; ++size) {
    const std::string text(size, 'a');
    CHECK(same_text(text, std::string(text)));
    CHECK_FALSE(same_text(text, text + 'a'));
    for (std::size_t place = 0; place < size; ++place) {
      std::string other = text;
      other[place] = 'b';
      CHECK_FALSE(same_text(text, other));
    }
  }
}
