#include "base/appender.hpp"

#include <doctest/doctest.h>

#include <random>
#include <string>

using namespace charpie;

TEST_CASE("what is appended in pieces is what a string appends") {
  std::mt19937 random(20261128);
  const std::string source = [&] {
    std::string all(9000 + Appender::spare, ' ');
    for (auto& c : all) c = static_cast<char>('a' + random() % 26);
    return all;
  }();
  for (int round = 0; round < 300; ++round) {
    std::string text = round % 3 == 0 ? "before" : "", expected = text;
    {
      Appender out(text);
      CHECK(out.size() == expected.size());
      for (int piece = 0; piece < 60; ++piece) {
        // Short ones mostly, and each length up to what is moved at once.
        const std::size_t size = piece == 59 ? random() % 9000 : random() % (Appender::spare + 8);
        const auto cut = std::string_view(source).substr(random() % (9000 - size), size);
        const std::size_t begin = expected.empty() ? 0 : random() % expected.size();
        switch (random() % 5) {
          case 0:
            out += cut;
            expected += cut;
            break;
          case 1:
            out.append_spared(cut);
            expected += cut;
            break;
          case 2:
            out += '.';
            expected += '.';
            break;
          case 3:
            out.repeat(begin, expected.size());
            expected += std::string(expected, begin);
            if (expected.size() > 20000) {
              out.cut(10);
              expected.resize(10);
            }
            break;
          default:
            out.cut(begin);
            expected.resize(begin);
        }
        REQUIRE(out.size() == expected.size());
      }
    }
    REQUIRE(text == expected);
  }
}

TEST_CASE("an appender that says nothing leaves the string as it was") {
  std::string text = "as it was";
  { const Appender out(text); }
  CHECK(text == "as it was");
}
