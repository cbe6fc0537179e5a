// Unsigned 128-bit whole numbers, with products that say when they do not fit.
#pragma once
#include <cstdint>

namespace charpie::units {

__extension__ typedef unsigned __int128 Wide;

/// a *= b; false, with `a` untouched, when the product needs more than 128 bits.
inline bool multiply(Wide& a, Wide b) {
  if (b == 1) return true;
  Wide product;
  if (__builtin_mul_overflow(a, b, &product)) return false;
  a = product;
  return true;
}

/// a to the power of `exponent`; false when it does not fit.
inline bool raise(Wide& a, std::uint32_t exponent) {
  if (a == 1 || exponent == 1) return true;
  Wide square = a, power = 1;
  while (exponent != 0) {
    if ((exponent & 1) != 0 && !multiply(power, square)) return false;
    exponent >>= 1;
    if (exponent != 0 && !multiply(square, square)) return false;
  }
  a = power;
  return true;
}

inline Wide greatest_common_divisor(Wide a, Wide b) {
  while (b != 0) {
    const Wide rest =
        ((a | b) >> 64) == 0 ? static_cast<std::uint64_t>(a) % static_cast<std::uint64_t>(b) : a % b;
    a = b;
    b = rest;
  }
  return a;
}

}  // namespace charpie::units
