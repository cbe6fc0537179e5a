// What a unit measures: exponents of the seven base units, in UCUM's letters L T M A C Q F (length, time,
// mass, plane angle, temperature, charge, luminous intensity; UCUM 28).
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace charpie::units {

struct Dimension {
  static constexpr std::string_view letters = "LTMACQF";
  /// One exponent a letter; the eighth place is always 0 and makes the row as long as a vector register.
  std::array<std::int32_t, 8> exponents{};

  bool operator==(const Dimension&) const = default;

  void add(const Dimension& other, std::int32_t times) {
    for (std::size_t i = 0; i < exponents.size(); ++i) exponents[i] += other.exponents[i] * times;
  }

  /// Reads "L", "L2", "L-1.M.T-2", "1", or one of the words length, area, volume, time, mass, pressure,
  /// temperature, number. Nothing for anything else.
  static std::optional<Dimension> named(std::string_view name);

  /// "L2", "L-1.M.T-2" (letters in alphabetical order), "1" for a pure number.
  std::string text() const;
};

}  // namespace charpie::units
