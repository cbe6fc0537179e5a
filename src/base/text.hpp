// Pieces of text: cut at a sign, freed of blanks, compared without regard to capitals. ASCII signs only;
// views of what is given.
#pragma once
#include <algorithm>
#include <cstring>
#include <string_view>
#include <vector>

namespace charpie {

/// The pieces between the signs, those that hold something.
inline std::vector<std::string_view> split(std::string_view text, char sign) {
  std::vector<std::string_view> pieces;
  while (!text.empty()) {
    const auto end = std::min(text.find(sign), text.size());
    if (end != 0) pieces.push_back(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return pieces;
}

/// Without the blanks at either end.
inline std::string_view trim(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

/// Whether two texts are the same: as ==, without a call. Eight bytes at a time, the last ones upon those
/// before.
inline bool same_text(std::string_view a, std::string_view b) {
  const auto size = a.size();
  if (size != b.size()) return false;
  const auto same = [&](auto word, std::size_t at) {
    auto other = word;
    std::memcpy(&word, a.data() + at, sizeof word);
    std::memcpy(&other, b.data() + at, sizeof other);
    return word == other;
  };
  if (size >= 8) {
    for (std::size_t at = 0; at < size - 8; at += 8) {
      if (!same(0ull, at)) return false;
    }
    return same(0ull, size - 8);
  }
  if (size >= 4) return same(0u, 0) && same(0u, size - 4);
  for (std::size_t at = 0; at < size; ++at) {
    if (a[at] != b[at]) return false;
  }
  return true;
}

/// Whether two texts are the same but for capitals among the letters of ASCII.
inline bool same_ignoring_case(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) {
    const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; };
    return lower(x) == lower(y);
  });
}

}  // namespace charpie
