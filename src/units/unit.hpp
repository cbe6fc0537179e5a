// A unit code reduced to what it means: a factor to base units, a dimension, arbitrary units, perhaps a
// special function.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>

#include "units/dimension.hpp"
#include "units/ratio.hpp"
#include "units/wide.hpp"

namespace charpie::units {

struct Atom;

/// Powers of arbitrary units (UCUM 24), sorted by atom; none has exponent 0. Such units compare with
/// themselves alone.
struct ArbitraryPowers {
  struct Power {
    std::int32_t atom = 0;  // place in the table of atoms
    std::int32_t exponent = 0;
    bool operator==(const Power&) const = default;
  };
  static constexpr std::size_t most = 48;  // UCUM has 41, so no code can name more
  std::array<Power, most> powers{};
  std::size_t count = 0;

  bool operator==(const ArbitraryPowers& other) const {
    if (count != other.count) return false;
    for (std::size_t i = 0; i < count; ++i) {
      if (powers[i] != other.powers[i]) return false;
    }
    return true;
  }

  /// False when there are more than `most` in the end or on the way.
  bool add(std::int32_t atom, std::int32_t exponent) {
    std::size_t place = 0;
    while (place < count && powers[place].atom < atom) ++place;
    if (place < count && powers[place].atom == atom) {
      powers[place].exponent += exponent;
      if (powers[place].exponent == 0) {
        for (std::size_t i = place + 1; i < count; ++i) powers[i - 1] = powers[i];
        --count;
      }
      return true;
    }
    if (exponent == 0) return true;
    if (count == most) return false;
    for (std::size_t i = count; i > place; --i) powers[i] = powers[i - 1];
    powers[place] = {atom, exponent};
    ++count;
    return true;
  }
};

/// One unit of `factor` base units. When `special` is set and `algebra` is not, the unit is special->function
/// of `factor` times the charted number (UCUM 21-23); with `algebra` the code is valid but has no conversion
/// (22.1).
template <class Integer>
struct UnitOf {
  RatioOf<Integer> factor;
  Dimension dimension;
  ArbitraryPowers arbitrary;
  const Atom* special = nullptr;
  bool algebra = false;
};
using Unit = UnitOf<Wide>;

/// Whether amounts of the two can be told in each other's terms (UCUM 17-19, 24).
template <class One, class Other>
bool commensurable(const One& a, const Other& b) {
  return a.dimension == b.dimension && a.arbitrary == b.arbitrary;
}

}  // namespace charpie::units
