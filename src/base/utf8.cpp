#include "base/utf8.hpp"

#include <cstring>

namespace charpie {

namespace {

// Length of the well-formed sequence at the front of the text, 0 when there is none (RFC 3629 section 4).
std::size_t sequence_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const auto continues = [&](std::size_t i) { return i < text.size() && (byte(i) & 0xC0) == 0x80; };
  const unsigned char first = byte(0);
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first <= 0xDF) return continues(1) ? 2 : 0;
  if (first >= 0xE0 && first <= 0xEF) {
    if (!continues(1) || !continues(2)) return 0;
    if (first == 0xE0 && byte(1) < 0xA0) return 0;  // overlong
    if (first == 0xED && byte(1) > 0x9F) return 0;  // surrogate
    return 3;
  }
  if (first >= 0xF0 && first <= 0xF4) {
    if (!continues(1) || !continues(2) || !continues(3)) return 0;
    if (first == 0xF0 && byte(1) < 0x90) return 0;  // overlong
    if (first == 0xF4 && byte(1) > 0x8F) return 0;  // above U+10FFFF
    return 4;
  }
  return 0;
}

// Whether the next eight bytes are ASCII.
bool eight_ascii(const char* at) {
  std::uint64_t word;
  std::memcpy(&word, at, 8);
  return (word & 0x8080808080808080ull) == 0;
}

}  // namespace

std::size_t utf8_valid_prefix(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    if (text.size() - at >= 8 && eight_ascii(text.data() + at)) {
      at += 8;
      continue;
    }
    const std::size_t length = sequence_length(text.substr(at));
    if (length == 0) return at;
    at += length;
  }
  return at;
}

char32_t next_code_point(std::string_view text, std::size_t& at) {
  const auto byte = [&](std::size_t i) {
    return static_cast<char32_t>(static_cast<unsigned char>(text[at + i]));
  };
  const char32_t first = byte(0);
  char32_t code_point = first;
  std::size_t length = 1;
  if (first >= 0xF0) {
    code_point =
        ((first & 0x07) << 18) | ((byte(1) & 0x3F) << 12) | ((byte(2) & 0x3F) << 6) | (byte(3) & 0x3F);
    length = 4;
  } else if (first >= 0xE0) {
    code_point = ((first & 0x0F) << 12) | ((byte(1) & 0x3F) << 6) | (byte(2) & 0x3F);
    length = 3;
  } else if (first >= 0x80) {
    code_point = ((first & 0x1F) << 6) | (byte(1) & 0x3F);
    length = 2;
  }
  at += length;
  return code_point;
}

std::size_t code_point_count(std::string_view text) {
  std::size_t count = 0;
  for (const char c : text) count += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  return count;
}

bool is_xml_character_text(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const auto byte = static_cast<unsigned char>(text[at]);
    if (byte >= 0x20 && byte < 0x80) {
      ++at;
      continue;
    }
    if (sequence_length(text.substr(at)) == 0) return false;
    if (!is_xml_character(next_code_point(text, at))) return false;
  }
  return true;
}

void append_utf8(char32_t code_point, std::string& out) {
  const auto put = [&](char32_t byte) { out += static_cast<char>(static_cast<unsigned char>(byte)); };
  if (code_point < 0x80) {
    put(code_point);
  } else if (code_point < 0x800) {
    put(0xC0 | (code_point >> 6));
    put(0x80 | (code_point & 0x3F));
  } else if (code_point < 0x10000) {
    put(0xE0 | (code_point >> 12));
    put(0x80 | ((code_point >> 6) & 0x3F));
    put(0x80 | (code_point & 0x3F));
  } else {
    put(0xF0 | (code_point >> 18));
    put(0x80 | ((code_point >> 12) & 0x3F));
    put(0x80 | ((code_point >> 6) & 0x3F));
    put(0x80 | (code_point & 0x3F));
  }
}

}  // namespace charpie
