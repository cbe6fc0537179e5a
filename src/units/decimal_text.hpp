// Between decimal text and exact numbers: reading a charted value, writing a result, rounding once.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "units/big.hpp"
#include "units/wide.hpp"

namespace charpie::units {

/// How a result is written. It is exact when its decimals end within `exact_decimals`; else it is rounded
/// half-even to `significant` digits and marked. Never by the significant digits of the input: 3 in are 7.62
/// cm, not 8 cm.
struct Rounding {
  std::int64_t exact_decimals = 17;
  int significant = 17;

  /// Every decimal that ends is written out, however long.
  static constexpr Rounding complete() { return {1'000'000, 17}; }
};

/// A converted value: plain decimal text without exponent and without superfluous zeros.
struct Conversion {
  std::string text;
  bool exact = true;
};

/// Values longer than this, or with a larger exponent of ten, are refused.
inline constexpr std::size_t longest_value = 400;
inline constexpr std::int64_t largest_value_exponent = 1000;

/// A value taken apart: sign, digits (leading zeros gone), power of ten. Views point into the text.
struct ValueToken {
  bool negative = false;
  std::string_view whole;     // digits before the point
  std::string_view fraction;  // digits after the point, without trailing zeros
  std::int64_t exponent = 0;  // of ten, as written behind e
  /// The digits as one whole number; false when it needs more than 128 bits.
  bool digits(Wide& value) const;
  Big digits() const;
  /// The power of ten that belongs to digits().
  std::int64_t scale() const { return exponent - static_cast<std::int64_t>(fraction.size()); }
};

/// Reads [+-]digits[.digits][e[+-]digits]; nothing for any other text, or one beyond the limits above.
std::optional<ValueToken> read_value(std::string_view text);

/// numerator / denominator * 10^exponent, both not negative, denominator not 0, as decimal text.
Conversion write_quotient(bool negative, Wide numerator, Wide denominator, std::int64_t exponent,
                          const Rounding& rounding);
Conversion write_quotient(bool negative, const Big& numerator, const Big& denominator, std::int64_t exponent,
                          const Rounding& rounding);

/// A number with its digits d1 d2 d3 … and value 0.d1d2d3… * 10^point, rounded half-even to
/// rounding.significant; `more` says that digits other than zero follow those given. Never exact.
Conversion write_rounded(bool negative, std::string digits, std::int64_t point, bool more,
                         const Rounding& rounding);

}  // namespace charpie::units
