// An exact positive factor: a fraction times powers of two, five and pi.
//
// Twos and fives are kept as exponents because nearly every unit is a power of ten away from another one: the
// fraction that is left is small (an inch is 127 / 50, kept as 127 with 2^-1 and 5^-2), and a factor is a
// terminating decimal exactly when its denominator is 1.
#pragma once
#include <cstdint>
#include <cstdlib>
#include <utility>

#include "units/wide.hpp"

namespace charpie::units {

/// Integer is Wide (fast, refuses what does not fit) or Big. numerator and denominator hold no factor 2 or 5.
template <class Integer>
struct RatioOf {
  Integer numerator{1};
  Integer denominator{1};
  std::int32_t twos = 0;
  std::int32_t fives = 0;
  std::int32_t pis = 0;

  /// Divides out what numerator and denominator have in common.
  void reduce() {
    const Integer common = greatest_common_divisor(numerator, denominator);
    if (common == 1) return;
    numerator /= common;
    denominator /= common;
  }

  /// *this *= other; false when it does not fit (then *this holds nothing of use).
  bool times(const RatioOf& other) {
    twos += other.twos;
    fives += other.fives;
    pis += other.pis;
    if (multiply(numerator, other.numerator) && multiply(denominator, other.denominator)) return true;
    return false;
  }

  /// *this /= other; false when it does not fit.
  bool divide(const RatioOf& other) {
    twos -= other.twos;
    fives -= other.fives;
    pis -= other.pis;
    return multiply(numerator, other.denominator) && multiply(denominator, other.numerator);
  }

  /// To the power of `exponent`, which may be negative or 0; false when it does not fit.
  bool to_power(std::int32_t exponent) {
    twos *= exponent;
    fives *= exponent;
    pis *= exponent;
    const auto size = static_cast<std::uint32_t>(std::abs(exponent));
    if (!raise(numerator, size) || !raise(denominator, size)) return false;
    if (exponent < 0) std::swap(numerator, denominator);
    return true;
  }

  /// Moves the factors 2 and 5 of `whole` (not 0) into the exponents and multiplies with the rest.
  bool times_whole(Integer whole) {
    while (whole % 2 == 0) {
      whole /= 2;
      ++twos;
    }
    while (whole % 5 == 0) {
      whole /= 5;
      ++fives;
    }
    return multiply(numerator, whole);
  }
};

/// What the unit tables and nearly every code need.
using Ratio = RatioOf<Wide>;

}  // namespace charpie::units
