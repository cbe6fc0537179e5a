#include "units/slow_convert.hpp"

#include <boost/multiprecision/cpp_dec_float.hpp>
#include <cstdlib>
#include <limits>
#include <optional>

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

// An exact amount as a fraction: where pi is in it, wrong by less than one part in 2^close_bits.
constexpr unsigned close_bits = pi_bits - 16;

BigRational as_fraction(const Amount& amount) {
  const auto size = static_cast<unsigned>(std::abs(amount.pis));
  BigRational pi_power(mp::pow(scaled_pi(), size), Big(1) << (pi_bits * size));
  if (amount.pis < 0) pi_power = 1 / pi_power;
  return amount.value * pi_power;
}

// Whether what is left of an amount, after most of it was taken away, still has digits enough to be rounded.
// An amount without pi always has: it is exact.
bool tells(const BigRational& rest, const BigRational& amount, int pis) {
  constexpr unsigned wanted_bits = 120;
  return pis == 0 || mp::abs(rest) * BigRational(Big(1) << (close_bits - wanted_bits)) >= mp::abs(amount);
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

// One factor over another, which both fit 128 bits.
RatioOf<Big> quotient(const Ratio& above, const Ratio& below) {
  return {Big(above.numerator) * Big(below.denominator), Big(above.denominator) * Big(below.numerator),
          above.twos - below.twos, above.fives - below.fives, above.pis - below.pis};
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

// The largest whole number not above `value`.
Big floor_of(const BigRational& value) {
  const Big &above = mp::numerator(value), &below = mp::denominator(value);
  const Big whole = above / below;  // towards zero
  return above < 0 && whole * below != above ? whole - 1 : whole;
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

// base^exponent, exactly when that is a fraction: 100^0.5 is 10.
Result<Amount> raised(const SpecialFunction& function, const BigRational& x) {
  const BigRational exponent = x * BigRational(function.exponent_numerator, function.exponent_denominator);
  if (exponent == 0) return Amount::of(1);
  const bool natural = function.argument == "e";
  const Float base = natural ? mp::exp(Float(1)) : Float(function.argument);
  const Float tens = to_float(exponent) * mp::log10(base);
  if (mp::abs(tens) > most_tens) return refusal("the result is beyond 10^" + std::to_string(most_tens));
  if (!natural) {
    const auto [root, degree] = root_of(Big(function.argument));
    if (const BigRational steps = exponent * degree; is_whole(steps)) {
      const auto size = static_cast<int>(mp::numerator(steps));
      const Big power = mp::pow(root, static_cast<unsigned>(std::abs(size)));
      return Amount::of(size < 0 ? BigRational(Big(1), power) : BigRational(power));
    }
  }
  return Amount::near(mp::exp(to_float(exponent) * mp::log(base)));
}

// The whole number k of root^k = value, when there is one.
std::optional<int> exponent_of(const Big& root, const BigRational& value) {
  const bool above = value > 1;
  Big rest = above ? mp::numerator(value) : mp::denominator(value);
  if ((above ? mp::denominator(value) : mp::numerator(value)) != 1) return {};
  int exponent = 0;
  for (; rest % root == 0; rest /= root) ++exponent;
  if (rest != 1) return {};
  return above ? exponent : -exponent;
}

// The natural logarithm. Near 1 nearly all digits of the value are those of 1, so there it is the series
// ln v = 2 (z + z^3/3 + z^5/5 + ...) with z = (v - 1) / (v + 1), which begins with the difference itself.
Float natural_logarithm(const BigRational& value) {
  const BigRational exact_z = (value - 1) / (value + 1);
  if (mp::abs(exact_z) > BigRational(1, 16)) return mp::log(to_float(value));
  const Float z = to_float(exact_z);
  Float sum = 0, power = z;
  for (int n = 1; n < 120 && power != 0; n += 2) {
    sum += power / n;
    power *= z * z;
  }
  return 2 * sum;
}

Float natural_logarithm(const std::string& base) {
  return base == "e" ? Float(1) : mp::log(Float(base));
}

// The x of base^(x * fraction) = m; exact when m is a power of the base's root.
Result<Amount> logarithm(const SpecialFunction& function, const Amount& m) {
  BigRational back = function.exponent_denominator;
  back /= function.exponent_numerator;  // which may be negative: a fraction's denominator may not
  const BigRational value = as_fraction(m);
  if (value <= 0)
    return refusal("a logarithmic unit has no value for zero or a negative amount", "keep the charted unit");
  if (m.pis == 0) {
    if (value == 1) return Amount::of(0);
    if (function.argument != "e") {
      const auto [root, degree] = root_of(Big(function.argument));
      if (const auto exponent = exponent_of(root, value))
        return Amount::of(BigRational(*exponent, degree) * back);
    }
  }
  if (!tells(value - 1, value, m.pis))
    return refusal("the amount is too close to 1 to tell its logarithm", "keep the charted unit");
  return Amount::near(natural_logarithm(value) / natural_logarithm(function.argument) * to_float(back));
}

// The slope of an angle: what is left of it without whole half turns, and near the right angle from there, so
// that no digits are lost.
Result<Amount> slope(const SpecialFunction& function, const Amount& angle) {
  const BigRational scale = rational_of(function.argument);
  if (angle.value == 0) return Amount::of(0);
  const Amount turns = Amount::of(angle.value, angle.pis - 1);
  const BigRational half_turns = as_fraction(turns);
  const BigRational rest =
      half_turns - BigRational(floor_of(half_turns + BigRational(1, 2)));  // from -1/2 up to, not with, 1/2
  const BigRational size = mp::abs(rest), to_right_angle = BigRational(1, 2) - size;
  if (turns.pis == 0) {
    // The only angles that are a fraction of pi with a rational tangent (Niven).
    if (size == 0) return Amount::of(0);
    if (size == BigRational(1, 4)) return Amount::of(rest > 0 ? scale : BigRational(-scale));
    if (to_right_angle == 0) return refusal("a right angle has no slope", "keep the charted unit");
  }
  if (!tells(size, half_turns, turns.pis) || !tells(to_right_angle, half_turns, turns.pis))
    return refusal("the angle is too large, or too close to a right or straight one, to tell its slope",
                   "keep the charted unit");
  Float tangent = size < BigRational(1, 4) ? mp::tan(to_float(size) * pi_float())
                                           : 1 / mp::tan(to_float(to_right_angle) * pi_float());
  if (rest < 0) tangent = -tangent;
  return Amount::near(tangent * to_float(scale));
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

// From x on one scale straight to the number on another of the same kind, so that 1 dB is 0.1 B exactly and
// no tiny x is lost in a power; nothing when the way leads through the corresponding units.
std::optional<Amount> along(const Atom& from, const Atom& to, const BigRational& x) {
  const auto &source = from.function, &target = to.function;
  const auto &above = from.unit_reduced.factor, &below = to.unit_reduced.factor;
  BigRational ratio;
  if (above.pis != below.pis || !to_rational(quotient(above, below), ratio)) return {};
  if (source == target && ratio == 1) return Amount::of(x);
  if (source.kind != SpecialFunction::power || target.kind != SpecialFunction::power) return {};
  // b^(x e) times the ratio is c^(y f); y f ln c = x e ln b + ln ratio.
  const BigRational exponent = x * BigRational(source.exponent_numerator, source.exponent_denominator);
  BigRational back = target.exponent_denominator;
  back /= target.exponent_numerator;
  if (source.argument != "e" && target.argument != "e") {
    const auto [root, degree] = root_of(Big(source.argument));
    const auto [other_root, other_degree] = root_of(Big(target.argument));
    const auto steps = exponent_of(root, ratio);
    if (root == other_root && steps) return Amount::of((exponent * degree + *steps) * back / other_degree);
  }
  if (ratio != 1) return {};
  if (x == 0) return Amount::of(0);
  return Amount::near(to_float(exponent * back) * natural_logarithm(source.argument) /
                      natural_logarithm(target.argument));
}

// The number on the special scale for m corresponding units. m is exact: scales with other functions measure
// other things.
Result<Amount> to_special(const SpecialFunction& function, const Amount& m) {
  switch (function.kind) {
    case SpecialFunction::plus: {
      const BigRational amount = as_fraction(m), rest = amount - rational_of(function.argument);
      if (m.pis == 0 || m.value == 0) return Amount::of(rest);
      if (!tells(rest, amount, m.pis))
        return refusal("the amount is too close to the zero of the scale", "keep the charted unit");
      return Amount::near(to_float(rest));
    }
    case SpecialFunction::power:
      return logarithm(function, m);
    case SpecialFunction::square: {
      if (m.value < 0) return refusal("a square root of a negative amount", "keep the charted unit");
      BigRational root;
      if (m.pis % 2 == 0 && exact_root(m.value, root)) return Amount::of(root, m.pis / 2);
      return Amount::near(mp::sqrt(to_float(m)));
    }
    case SpecialFunction::arctan:
      return slope(function, m);
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
  if (source.special != nullptr && target.special != nullptr) {
    if (const auto number = along(*source.special, *target.special, charted * source_scale_))
      return written(multiplied(*number, 1 / target_scale_, 0), rounding);
  }
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
