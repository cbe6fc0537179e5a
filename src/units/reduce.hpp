// From a code to its meaning in base units.
#pragma once
#include <bitset>
#include <string_view>
#include <type_traits>

#include "units/big.hpp"
#include "units/fault.hpp"
#include "units/parse.hpp"
#include "units/table.hpp"
#include "units/unit.hpp"

namespace charpie::units {

/// What came of reducing a code: a fault, or a unit that may be too large for its kind of whole number.
struct Reduction {
  Fault fault;
  bool fits = true;
};

template <class Integer>
RatioOf<Integer> widened(const RatioOf<Wide>& ratio) {
  return {Integer(ratio.numerator), Integer(ratio.denominator), ratio.twos, ratio.fives, ratio.pis};
}

/// Multiplies the components into one unit. A parenthesis after "/" turns the sign of what stands in it; the
/// signs of the open ones are kept as bits.
template <class Integer>
class Reducer {
 public:
  explicit Reducer(UnitOf<Integer>& unit) : unit_(unit) {}

  void component(const Component& found) {
    const bool negative = found.divided != inverted();
    if (found.kind == Component::number) {
      number(found.text, negative);
    } else if (found.kind == Component::symbol) {
      symbol(found, negative);
    }
  }
  void open(bool divided) {
    const bool turned = divided != inverted();
    ++depth_;
    turned_[depth_] = turned;
  }
  void close(std::string_view) { --depth_; }

  bool fits() const { return fits_; }

 private:
  bool inverted() const { return turned_[depth_]; }

  void number(std::string_view digits, bool negative) {
    Integer whole{0};
    for (const char c : digits) {
      if (!multiply(whole, Integer(10))) {
        fits_ = false;
        return;
      }
      const auto before = whole;
      whole += static_cast<unsigned>(c - '0');
      if (whole < before) fits_ = false;
    }
    if (!fits_) return;
    RatioOf<Integer> ratio;
    fits_ = ratio.times_whole(whole) && (negative ? unit_.factor.divide(ratio) : unit_.factor.times(ratio));
  }

  void symbol(const Component& found, bool negative) {
    const Atom& atom = *found.atom;
    const std::int32_t exponent = negative ? -found.exponent : found.exponent;
    if (found.prefix != nullptr) {
      unit_.factor.twos += found.prefix->twos * exponent;
      unit_.factor.fives += found.prefix->fives * exponent;
    }
    unit_.dimension.add(atom.unit_reduced.dimension, exponent);
    if (atom.function.kind != SpecialFunction::none) {
      // Only a number may stand beside a special unit, and no power: there is no algebra on its scale (22.1).
      if (unit_.special != nullptr || others_ || exponent != 1) unit_.algebra = true;
      unit_.special = &atom;
      return;
    }
    if (!atom.number) {
      others_ = true;
      if (unit_.special != nullptr) unit_.algebra = true;
    }
    if (!multiply_in(atom.unit_reduced.factor, exponent)) fits_ = false;
    const auto& arbitrary = atom.unit_reduced.arbitrary;
    for (std::size_t i = 0; i < arbitrary.count; ++i) {
      if (!unit_.arbitrary.add(arbitrary.powers[i].atom, arbitrary.powers[i].exponent * exponent))
        fits_ = false;
    }
  }

  bool multiply_in(const RatioOf<Wide>& factor, std::int32_t exponent) {
    if constexpr (std::is_same_v<Integer, Wide>) {
      if (exponent == 1) return unit_.factor.times(factor);
      if (exponent == -1) return unit_.factor.divide(factor);
    }
    auto power = widened<Integer>(factor);
    return power.to_power(exponent) && unit_.factor.times(power);
  }

  UnitOf<Integer>& unit_;
  bool fits_ = true;
  bool others_ = false;
  std::size_t depth_ = 0;
  std::bitset<longest_code + 1> turned_;
};

/// Reduces `code` into `unit`, which must be fresh. Takes no memory for Wide.
template <class Integer>
Reduction reduce(std::string_view code, const AtomTable& table, UnitOf<Integer>& unit) {
  Reducer<Integer> reducer(unit);
  const Fault fault = parse(code, table, reducer);
  return {fault, reducer.fits()};
}

}  // namespace charpie::units
