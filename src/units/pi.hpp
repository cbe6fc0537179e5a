// Pi to more digits than any result shows.
#pragma once
#include "units/big.hpp"

namespace charpie::units {

inline constexpr unsigned pi_bits = 320;

/// Pi times 2^pi_bits, rounded down to within a few units: 95 decimal digits.
const Big& scaled_pi();

}  // namespace charpie::units
