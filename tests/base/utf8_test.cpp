#include "base/utf8.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace charpie;

TEST_CASE("the examples of RFC 3629 section 7 are read") {
  const struct {
    const char* text;
    std::vector<char32_t> code_points;
  } rows[] = {{"\x41\xE2\x89\xA2\xCE\x91\x2E", {0x41, 0x2262, 0x391, 0x2E}},
              {"\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4", {0xD55C, 0xAD6D, 0xC5B4}},
              {"\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E", {0x65E5, 0x672C, 0x8A9E}},
              {"\xEF\xBB\xBF\xF0\xA3\x8E\xB4", {0xFEFF, 0x233B4}}};
  for (const auto& row : rows) {
    const std::string_view text = row.text;
    CHECK(is_utf8(text));
    CHECK(code_point_count(text) == row.code_points.size());
    std::vector<char32_t> read;
    std::string written;
    for (std::size_t at = 0; at < text.size();) {
      read.push_back(next_code_point(text, at));
      append_utf8(read.back(), written);
    }
    CHECK(read == row.code_points);
    CHECK(written == text);
  }
}

TEST_CASE("what is not UTF-8 is refused at its first byte") {
  const struct {
    std::string text;
    std::size_t valid;
  } rows[] = {{"a\xC0\x80", 1},             // overlong NUL, RFC 3629 section 10
              {"\x2F\xC0\xAE\x2E\x2F", 1},  // overlong dot, RFC 3629 section 10
              {"\xC1\xBF", 0},              // overlong
              {"\xE0\x9F\xBF", 0},          // overlong
              {"\xF0\x8F\xBF\xBF", 0},      // overlong
              {"12345678\xED\xA0\x80", 8},  // surrogate D800
              {"\xED\xBF\xBF", 0},          // surrogate DFFF
              {"\xF4\x90\x80\x80", 0},      // U+110000
              {"\xF5\x80\x80\x80", 0},      // above
              {"\xFE", 0},                  // never a byte of UTF-8
              {"\xFF", 0},                  //
              {"\xFF"
               "12345678",
               0},                  // first and last in eight bytes of ASCII
              {"1234567\xFF", 7},   //
              {"\x80", 0},          // continues nothing
              {"ab\xE2\x89", 2},    // cut off
              {"ab\xE2", 2},        //
              {"\xF0\xA3\x8E", 0},  //
              {"\xE2\x28\xA2", 0},  // second byte is no continuation
              {"\xF0\xA3\x28\xB4", 0}};
  for (const auto& row : rows) {
    CAPTURE(row.text.size());
    CAPTURE(row.valid);
    CHECK(utf8_valid_prefix(row.text) == row.valid);
    CHECK_FALSE(is_xml_character_text(row.text));
  }
  CHECK(utf8_valid_prefix("") == 0);
}

// The Unicode Standard, table 3-7 (well-formed byte sequences), worked out code point by code point.
TEST_CASE("every code point and no surrogate") {
  for (char32_t c = 0; c <= 0x10FFFF; ++c) {
    if (c >= 0xD800 && c <= 0xDFFF) continue;
    std::string text;
    append_utf8(c, text);
    std::size_t at = 0;
    const bool good = is_utf8(text) && next_code_point(text, at) == c && at == text.size();
    if (!good) FAIL("U+" << static_cast<unsigned>(c));
  }
  // All sequences of two bytes: valid exactly for two ASCII, or C2..DF with 80..BF.
  for (int a = 0; a < 256; ++a) {
    for (int b = 0; b < 256; ++b) {
      const std::string text{static_cast<char>(a), static_cast<char>(b)};
      const bool expected = (a < 0x80 && b < 0x80) || (a >= 0xC2 && a <= 0xDF && b >= 0x80 && b <= 0xBF);
      if (is_utf8(text) != expected) FAIL("bytes " << a << " " << b);
    }
  }
}

TEST_CASE("characters of XML 1.0, production 2") {
  const char32_t allowed[] = {0x9, 0xA, 0xD, 0x20, 0x7F, 0x85, 0xD7FF, 0xE000, 0xFFFD, 0x10000, 0x10FFFF};
  for (const char32_t c : allowed) CHECK(is_xml_character(c));
  const char32_t refused[] = {0x0, 0x1, 0x8, 0xB, 0xC, 0xE, 0x1F, 0xD800, 0xDFFF, 0xFFFE, 0xFFFF, 0x110000};
  for (const char32_t c : refused) CHECK_FALSE(is_xml_character(c));
  CHECK(is_xml_character_text(""));
  CHECK(is_xml_character_text("tab\t line\n \xC3\xA9 \xF0\xA3\x8E\xB4"));
  CHECK_FALSE(is_xml_character_text(std::string_view("a\0b", 3)));
  CHECK_FALSE(is_xml_character_text("bell\x07"));
  CHECK_FALSE(is_xml_character_text("\xEF\xBF\xBE"));  // U+FFFE
}
