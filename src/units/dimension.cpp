#include "units/dimension.hpp"

#include <charconv>

namespace charpie::units {

namespace {

struct Named {
  std::string_view word;
  std::string_view letters;
};
constexpr Named words[] = {{"length", "L"},      {"area", "L2"}, {"volume", "L3"},
                           {"time", "T"},        {"mass", "M"},  {"pressure", "L-1.M.T-2"},
                           {"temperature", "C"}, {"number", "1"}};

}  // namespace

std::optional<Dimension> Dimension::named(std::string_view name) {
  for (const auto& [word, spelled] : words) {
    if (name == word) name = spelled;
  }
  Dimension dimension;
  if (name == "1") return dimension;
  while (!name.empty()) {
    const auto letter = letters.find(name.front());
    if (letter == std::string_view::npos) return std::nullopt;
    name.remove_prefix(1);
    std::int32_t exponent = 1;
    const auto dot = name.find('.');
    const auto digits = name.substr(0, dot);
    if (!digits.empty()) {
      const auto end = digits.data() + digits.size();
      const auto read = std::from_chars(digits.data(), end, exponent);
      if (read.ec != std::errc{} || read.ptr != end) return std::nullopt;
    }
    dimension.exponents[letter] += exponent;
    if (dot == std::string_view::npos) return dimension;
    name.remove_prefix(dot + 1);
  }
  return std::nullopt;
}

std::string Dimension::text() const {
  static constexpr std::string_view alphabetical = "ACFLMQT";
  std::string text;
  for (const char letter : alphabetical) {
    const auto exponent = exponents[letters.find(letter)];
    if (exponent == 0) continue;
    if (!text.empty()) text += '.';
    text += letter;
    if (exponent != 1) text += std::to_string(exponent);
  }
  return text.empty() ? "1" : text;
}

}  // namespace charpie::units
