// Whole numbers beyond 128 bits, from Boost.Multiprecision, with a stated bound so that no input takes long.
#pragma once
#include <boost/multiprecision/cpp_int.hpp>
#include <cstdint>

namespace charpie::units {

using Big = boost::multiprecision::cpp_int;
using BigRational = boost::multiprecision::cpp_rational;

/// No side of a fraction grows beyond this many bits (4900 decimal digits): more is refused, never cut off.
inline constexpr unsigned big_bits = 16384;

inline unsigned bit_length(const Big& a) {
  return a == 0 ? 0 : boost::multiprecision::msb(a) + 1;
}

/// a *= b; false, with `a` untouched, when the product could be longer than big_bits.
inline bool multiply(Big& a, const Big& b) {
  if (bit_length(a) + bit_length(b) > big_bits) return false;
  a *= b;
  return true;
}

/// a to the power of `exponent`; false when it could be longer than big_bits.
inline bool raise(Big& a, std::uint32_t exponent) {
  if (a == 1) return true;
  if (static_cast<std::uint64_t>(bit_length(a)) * exponent > big_bits) return false;
  a = boost::multiprecision::pow(a, exponent);
  return true;
}

inline Big greatest_common_divisor(const Big& a, const Big& b) {
  return boost::multiprecision::gcd(a, b);
}

}  // namespace charpie::units
