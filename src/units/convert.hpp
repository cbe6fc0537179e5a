// Exact conversion of charted values between two unit codes.
#pragma once
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "units/decimal_text.hpp"
#include "units/table.hpp"
#include "units/unit.hpp"

namespace charpie::units {

/// From one code to another, worked out once and used for any number of values. Immutable, so safe for all
/// threads; must not outlive the table that it was made from.
class Converter {
 public:
  /// Error::invalid when a code is none, when the two measure different things, when an arbitrary unit meets
  /// another one, when a special unit stands in a product, quotient or power, or beyond big_bits.
  static Result<Converter> between(std::string_view from, std::string_view to, const AtomTable& table);

  /// `value` is decimal text, with or without exponent. Error::invalid when it is none, is beyond the limits
  /// of decimal_text.hpp, or lies outside what a logarithmic unit can tell. Takes no memory for results of up
  /// to 15 characters when all fits 128 bits.
  Result<Conversion> convert(std::string_view value, const Rounding& rounding = {}) const;

  /// Whether every decimal value converts to a decimal that ends, so that nothing is ever rounded.
  bool always_exact() const { return kind_ == linear && denominator_ == 1; }

  struct Slow;  // what does not fit 128 bits, carries pi, or is special

 private:
  Converter() = default;
  bool set_factor(Ratio factor);

  enum Kind { linear, indirect };
  Kind kind_ = linear;
  Wide numerator_ = 1;    // linear: value * numerator_ / denominator_ * 10^tens_
  Wide denominator_ = 1;  // holds no 2 and no 5
  std::int32_t tens_ = 0;
  std::shared_ptr<const Slow> slow_;
};

}  // namespace charpie::units
