// Conversions that need more than a 128-bit fraction: big fractions, powers of pi, special units (UCUM
// 21-23).
#pragma once
#include <variant>

#include "base/result.hpp"
#include "units/big.hpp"
#include "units/convert.hpp"

namespace charpie::units {

struct Converter::Slow {
  UnitOf<Big> source;
  UnitOf<Big> target;

  /// Works out the factors. Error::invalid when one is beyond big_bits.
  Outcome prepare();
  Result<Conversion> convert(const ValueToken& value, const Rounding& rounding) const;

 private:
  BigRational factor_;                       // source to target when neither is special
  int pis_ = 0;                              // power of pi that belongs to factor_
  BigRational source_scale_, target_scale_;  // special units: what multiplies the number on its scale
};

}  // namespace charpie::units
