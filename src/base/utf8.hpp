// UTF-8 (RFC 3629): strict validation, code points, and the characters that XML 1.0 allows.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace charpie {

/// Offset of the first byte that is not part of well-formed UTF-8 (no overlong forms, no surrogates, nothing
/// above U+10FFFF), or text.size() when all of it is.
std::size_t utf8_valid_prefix(std::string_view text);

inline bool is_utf8(std::string_view text) {
  return utf8_valid_prefix(text) == text.size();
}

/// Reads the code point at `at` and moves `at` past it. The text must be valid UTF-8 and `at` inside it, on
/// the first byte of a character.
char32_t next_code_point(std::string_view text, std::size_t& at);

/// Number of code points of valid UTF-8.
std::size_t code_point_count(std::string_view text);

/// Whether the character matches Char of XML 1.0 (5th edition, production 2).
constexpr bool is_xml_character(char32_t c) {
  return c == 0x9 || c == 0xA || c == 0xD || (c >= 0x20 && c <= 0xD7FF) || (c >= 0xE000 && c <= 0xFFFD) ||
         (c >= 0x10000 && c <= 0x10FFFF);
}

/// Whether the text is valid UTF-8 made only of XML 1.0 characters. Empty text is.
bool is_xml_character_text(std::string_view text);

/// Appends the UTF-8 of a code point up to U+10FFFF, not a surrogate.
void append_utf8(char32_t code_point, std::string& out);

}  // namespace charpie
