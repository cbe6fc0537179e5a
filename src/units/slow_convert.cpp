#include "units/slow_convert.hpp"

#include <boost/multiprecision/cpp_dec_float.hpp>
#include <cstdlib>
#include <limits>

#include "units/pi.hpp"

namespace charpie::units {

namespace {

namespace mp = boost::multiprecision;

// Only logarithms, powers with a broken exponent and tangents are computed in floating point, decimal and
// with 60 digits, of which 17 are shown.
using Float = mp::number<mp::cpp_dec_float<60>>;
constexpr int float_digits = 50;

// Powers of pi beyond this and powers of ten beyond that are refused.
constexpr int most_pis = 40;
constexpr int most_tens = 2000;

Error refusal(std::string message, std::string mend = "see the limits of the unit engine") {
  return {Error::invalid, std::move(message), {}, 0, 0, std::move(mend)};
}

// A number that is exact as long as it can be: a fraction times a power of pi, or a decimal float.
struct Amount {
  BigRational value;
  int pis = 0;
  bool exact = true;
  Float approximate;

  static Amount of(BigRational value, int pis = 0) { return {std::move(value), pis, true, {}}; }
  static Amount near(Float value) { return {{}, 0, false, std::move(value)}; }
};

Float to_float(const BigRational& value) {
  return Float(mp::numerator(value)) / Float(mp::denominator(value));
}

Float pi_float() {
  return Float(scaled_pi()) / mp::pow(Float(2), static_cast<int>(pi_bits));
}

Float to_float(const Amount& amount) {
  if (!amount.exact) return amount.approximate;
  return to_float(amount.value) * mp::pow(pi_float(), amount.pis);
}

Amount multiplied(const Amount& amount, const BigRational& factor, int pis) {
  if (amount.exact) return Amount::of(amount.value * factor, amount.pis + pis);
  return Amount::near(amount.approximate * to_float(factor) * mp::pow(pi_float(), pis));
}

bool to_rational(const RatioOf<Big>& ratio, BigRational& rational) {
  const auto twos = static_cast<unsigned>(std::abs(ratio.twos)),
             fives = static_cast<unsigned>(std::abs(ratio.fives));
  if (twos > big_bits || fives > big_bits / 2 || std::abs(ratio.pis) > most_pis) return false;
  Big above = ratio.numerator, below = ratio.denominator;
  (ratio.twos < 0 ? below : above) <<= twos;
  (ratio.fives < 0 ? below : above) *= mp::pow(Big(5), fives);
  rational = BigRational(above, below);
  return true;
}

Result<BigRational> power_of_ten(std::int64_t exponent) {
  if (exponent > most_tens || exponent < -most_tens)
    return refusal("a power of ten beyond " + std::to_string(most_tens));
  const Big power = mp::pow(Big(10), static_cast<unsigned>(std::abs(exponent)));
  return exponent < 0 ? BigRational(Big(1), power) : BigRational(power);
}

BigRational rational_of(const std::string& decimal) {
  const auto token = read_value(decimal);
  const Big digits = token->digits();
  const auto scale = token->scale();
  const Big power = mp::pow(Big(10), static_cast<unsigned>(std::abs(scale)));
  return scale < 0 ? BigRational(digits, power) : BigRational(digits * power);
}

bool is_whole(const BigRational& value) {
  return mp::denominator(value) == 1;
}

// base^exponent, exactly when the exponent is whole.
Result<Amount> raised(const SpecialFunction& function, const BigRational& x) {
  const BigRational exponent = x * BigRational(function.exponent_numerator, function.exponent_denominator);
  if (exponent == 0) return Amount::of(1);
  const bool natural = function.argument == "e";
  const Float base = natural ? mp::exp(Float(1)) : Float(function.argument);
  const Float tens = to_float(exponent) * mp::log10(base);
  if (mp::abs(tens) > most_tens) return refusal("the result is beyond 10^" + std::to_string(most_tens));
  if (!natural && is_whole(exponent)) {
    const auto size = static_cast<int>(mp::numerator(exponent));
    const Big power = mp::pow(Big(function.argument), static_cast<unsigned>(std::abs(size)));
    return Amount::of(size < 0 ? BigRational(Big(1), power) : BigRational(power));
  }
  return Amount::near(mp::exp(to_float(exponent) * mp::log(base)));
}

// The smallest whole number that `base` is a power of, and that power: 1000 = 10^3.
std::pair<Big, int> root_of(const Big& base) {
  for (int degree = 8; degree > 1; --degree) {
    for (Big root = 2; mp::pow(root, static_cast<unsigned>(degree)) <= base; ++root) {
      if (mp::pow(root, static_cast<unsigned>(degree)) == base) return {root, degree};
    }
  }
  return {base, 1};
}

// The x of base^(x * fraction) = m; exact when m is a power of the base's root.
Result<Amount> logarithm(const SpecialFunction& function, const Amount& m) {
  BigRational back = function.exponent_denominator;
  back /= function.exponent_numerator;  // which may be negative: a fraction's denominator may not
  const Float value = to_float(m);
  if (value <= 0)
    return refusal("a logarithmic unit has no value for zero or a negative amount", "keep the charted unit");
  const bool natural = function.argument == "e";
  if (m.exact && m.pis == 0) {
    if (m.value == 1) return Amount::of(0);
    if (!natural) {
      const auto [root, degree] = root_of(Big(function.argument));
      const bool above = m.value > 1;
      Big rest = above ? mp::numerator(m.value) : mp::denominator(m.value);
      int exponent = 0;
      if ((above ? mp::denominator(m.value) : mp::numerator(m.value)) == 1) {
        while (rest % root == 0) {
          rest /= root;
          ++exponent;
        }
        if (rest == 1) return Amount::of(BigRational(above ? exponent : -exponent, degree) * back);
      }
    }
  }
  const Float base = natural ? mp::exp(Float(1)) : Float(function.argument);
  return Amount::near(mp::log(value) / mp::log(base) * to_float(back));
}

// The amount of corresponding units that x on the special scale stands for.
Result<Amount> from_special(const SpecialFunction& function, const BigRational& x) {
  switch (function.kind) {
    case SpecialFunction::plus:
      return Amount::of(x + rational_of(function.argument));
    case SpecialFunction::power:
      return raised(function, x);
    case SpecialFunction::square:
      return Amount::of(x * x);
    case SpecialFunction::arctan: {
      const BigRational tangent = x / rational_of(function.argument);
      if (tangent == 0) return Amount::of(0);
      // The only angles that are a fraction of pi with a rational tangent (Niven).
      if (tangent == 1 || tangent == -1) return Amount::of(tangent * BigRational(1, 4), 1);
      return Amount::near(mp::atan(to_float(tangent)));
    }
    case SpecialFunction::none:
      break;
  }
  return Amount::of(x);
}

// The exact square root, when numerator and denominator are squares.
bool exact_root(const BigRational& value, BigRational& root) {
  const Big above = mp::sqrt(mp::numerator(value)), below = mp::sqrt(mp::denominator(value));
  if (above * above != mp::numerator(value) || below * below != mp::denominator(value)) return false;
  root = BigRational(above, below);
  return true;
}

// The number on the special scale for m corresponding units.
Result<Amount> to_special(const SpecialFunction& function, const Amount& m) {
  switch (function.kind) {
    case SpecialFunction::plus:
      if (m.exact && (m.pis == 0 || m.value == 0))
        return Amount::of(m.value - rational_of(function.argument));
      return Amount::near(to_float(m) - to_float(rational_of(function.argument)));
    case SpecialFunction::power:
      return logarithm(function, m);
    case SpecialFunction::square: {
      if (to_float(m) < 0) return refusal("a square root of a negative amount", "keep the charted unit");
      BigRational root;
      if (m.exact && m.pis % 2 == 0 && exact_root(m.value, root)) return Amount::of(root, m.pis / 2);
      return Amount::near(mp::sqrt(to_float(m)));
    }
    case SpecialFunction::arctan: {
      const BigRational scale = rational_of(function.argument);
      if (m.exact && m.value == 0) return Amount::of(0);
      if (m.exact && m.pis == 1) {
        // tan repeats at every half turn.
        const BigRational quarters = m.value * 4;
        if (is_whole(quarters)) {
          const int place = static_cast<int>(((mp::numerator(quarters) % 4) + 4) % 4);
          if (place == 2) return refusal("a right angle has no slope", "keep the charted unit");
          return Amount::of(place == 0 ? BigRational(0) : place == 1 ? scale : BigRational(-scale));
        }
      }
      return Amount::near(mp::tan(to_float(m)) * to_float(scale));
    }
    case SpecialFunction::none:
      break;
  }
  return m;
}

Conversion written(const Amount& amount, const Rounding& rounding) {
  const Rounding always_rounded{std::numeric_limits<std::int64_t>::min(), rounding.significant};
  if (!amount.exact) {
    // "d.ddd…e±n"
    std::string text = amount.approximate.str(float_digits, std::ios_base::scientific);
    const bool negative = text[0] == '-';
    if (negative) text.erase(0, 1);
    const auto mark = text.find('e');
    const long exponent = std::strtol(text.c_str() + mark + 1, nullptr, 10);
    std::string digits = text.substr(0, 1) + text.substr(2, mark - 2);
    return write_rounded(negative, std::move(digits), exponent + 1, true, always_rounded);
  }
  const bool negative = amount.value < 0;
  Big above = mp::abs(mp::numerator(amount.value)), below = mp::denominator(amount.value);
  if (amount.pis == 0 || above == 0) return write_quotient(negative, above, below, 0, rounding);
  const auto size = static_cast<unsigned>(std::abs(amount.pis));
  (amount.pis > 0 ? above : below) *= mp::pow(scaled_pi(), size);
  (amount.pis > 0 ? below : above) <<= pi_bits * size;
  auto conversion = write_quotient(negative, above, below, 0, always_rounded);
  conversion.exact = false;
  return conversion;
}

// 1/n - 1/(3 n^3) + 1/(5 n^5) … times 2^bits
Big scaled_arctangent_of_inverse(unsigned n, unsigned bits) {
  Big power = (Big(1) << bits) / n, sum = power;
  for (unsigned divisor = 3; power != 0; divisor += 2) {
    power /= n * n;
    if (divisor % 4 == 3) {
      sum -= power / divisor;
    } else {
      sum += power / divisor;
    }
  }
  return sum;
}

}  // namespace

const Big& scaled_pi() {
  // Machin: pi = 16 arctan 1/5 - 4 arctan 1/239, with 32 bits to spare.
  static const Big pi = ((16 * scaled_arctangent_of_inverse(5, pi_bits + 32)) -
                         (4 * scaled_arctangent_of_inverse(239, pi_bits + 32))) >>
                        32;
  return pi;
}

Outcome Converter::Slow::prepare() {
  const Error too_large =
      refusal("the factor is beyond " + std::to_string(big_bits) + " bits", "use smaller exponents");
  if (source.special == nullptr && target.special == nullptr) {
    auto factor = source.factor;
    if (!factor.divide(target.factor)) return too_large;
    factor.reduce();
    if (!to_rational(factor, factor_)) return too_large;
    pis_ = factor.pis;
    return std::monostate{};
  }
  auto whole_factor = [](const UnitOf<Big>& unit) {
    auto factor = unit.factor;
    factor.reduce();
    return factor;
  };
  if (!to_rational(whole_factor(source), source_scale_) || !to_rational(whole_factor(target), target_scale_))
    return too_large;
  return std::monostate{};
}

Result<Conversion> Converter::Slow::convert(const ValueToken& value, const Rounding& rounding) const {
  auto power = power_of_ten(value.scale());
  if (!power) return power.error();
  BigRational charted = BigRational(value.digits()) * *power;
  if (value.negative) charted = -charted;
  if (source.special == nullptr && target.special == nullptr) {
    return written(Amount::of(charted * factor_, pis_), rounding);
  }
  auto corresponding = [](const Atom& atom) {
    BigRational factor;
    to_rational({Big(atom.unit_reduced.factor.numerator), Big(atom.unit_reduced.factor.denominator),
                 atom.unit_reduced.factor.twos, atom.unit_reduced.factor.fives, 0},
                factor);
    return factor;
  };
  Amount base;
  if (source.special != nullptr) {
    auto amount = from_special(source.special->function, charted * source_scale_);
    if (!amount) return amount.error();
    base = multiplied(*amount, corresponding(*source.special), source.special->unit_reduced.factor.pis);
  } else {
    base = Amount::of(charted * source_scale_, source.factor.pis);
  }
  if (target.special == nullptr)
    return written(multiplied(base, 1 / target_scale_, -target.factor.pis), rounding);
  const auto& atom = *target.special;
  auto number =
      to_special(atom.function, multiplied(base, 1 / corresponding(atom), -atom.unit_reduced.factor.pis));
  if (!number) return number.error();
  return written(multiplied(*number, 1 / target_scale_, 0), rounding);
}

}  // namespace charpie::units
