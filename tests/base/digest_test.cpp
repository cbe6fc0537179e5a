#include "base/digest.hpp"

#include <doctest/doctest.h>

using namespace charpie;

TEST_CASE("a digest in digits and as a number say the same") {
  // "abc" is the example of FIPS 180-4; its digest stands here from memory.
  Sha256 digest;
  digest.update("ab");
  digest.update("c");
  CHECK(digest.so_far() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(digest.first_64_bits() == 0xba7816bf8f01cfea);
  digest.update("abc");  // anew
  CHECK(digest.first_64_bits() == 0xba7816bf8f01cfea);
}
