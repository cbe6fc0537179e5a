// Pieces of text: cut at a sign, freed of blanks, compared without regard to capitals. ASCII signs only;
// views of what is given.
#pragma once
#include <algorithm>
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

/// Whether two texts are the same but for capitals among the letters of ASCII.
inline bool same_ignoring_case(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) {
    const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; };
    return lower(x) == lower(y);
  });
}

}  // namespace charpie
