#include "units/convert.hpp"

#include "units/reduce.hpp"
#include "units/slow_convert.hpp"

namespace charpie::units {

namespace {

// Larger powers of ten go the slow way, which has its own bounds.
constexpr std::int32_t most_tens = 2000;

Error refusal(std::string message, std::string mend) {
  return {Error::invalid, std::move(message), {}, 0, 0, std::move(mend)};
}

Error no_code(const Fault& fault, std::string_view code) {
  return refusal("`" + std::string(code) + "` is no unit code: " + describe(fault, code),
                 "see the suggestions of `units check`");
}

std::string arbitrary_names(const ArbitraryPowers& arbitrary, const AtomTable& table) {
  std::string names;
  for (std::size_t i = 0; i < arbitrary.count; ++i) {
    if (!names.empty()) names += ", ";
    names += table.atoms()[static_cast<std::size_t>(arbitrary.powers[i].atom)].symbol;
  }
  return names.empty() ? "none" : names;
}

// Why the two units cannot be told in each other's terms; an empty message when they can.
template <class Integer>
Error mismatch(std::string_view from, const UnitOf<Integer>& source, std::string_view to,
               const UnitOf<Integer>& target, const AtomTable& table) {
  const auto quoted = "`" + std::string(from) + "` and `" + std::string(to) + "`";
  if (source.algebra || target.algebra) {
    return refusal("`" + std::string(source.algebra ? from : to) +
                       "` is valid but has no conversion: a special unit cannot stand in a product, quotient "
                       "or power (UCUM 22.1)",
                   "for temperatures use K");
  }
  if (source.dimension != target.dimension) {
    return refusal(quoted + " measure different things: dimension " + source.dimension.text() + " and " +
                       target.dimension.text(),
                   "choose a unit of the same dimension");
  }
  if (!(source.arbitrary == target.arbitrary)) {
    return refusal(
        quoted + " do not compare: an arbitrary unit is known only to itself (UCUM 24); they name " +
            arbitrary_names(source.arbitrary, table) + " and " + arbitrary_names(target.arbitrary, table),
        "keep the charted unit");
  }
  return {};
}

}  // namespace

bool Converter::set_factor(Ratio factor) {
  if (factor.pis != 0) return false;
  if (factor.denominator != 1 && factor.numerator != 1) factor.reduce();
  // Of twos and fives, what they share is a power of ten; the rest goes into the numerator.
  tens_ = factor.twos < factor.fives ? factor.twos : factor.fives;
  if (tens_ > most_tens || tens_ < -most_tens) return false;
  const auto more_twos = static_cast<std::uint32_t>(factor.twos - tens_);
  const auto more_fives = static_cast<std::uint32_t>(factor.fives - tens_);
  if (more_twos != 0) {
    Wide power = 2;
    if (more_twos > 127) return false;
    power = Wide{1} << more_twos;
    if (!multiply(factor.numerator, power)) return false;
  }
  if (more_fives != 0) {
    Wide power = 5;
    if (!raise(power, more_fives) || !multiply(factor.numerator, power)) return false;
  }
  numerator_ = factor.numerator;
  denominator_ = factor.denominator;
  return true;
}

Result<Converter> Converter::between(std::string_view from, std::string_view to, const AtomTable& table) {
  Unit source, target;
  const auto read_source = reduce(from, table, source);
  if (read_source.fault) return no_code(read_source.fault, from);
  const auto read_target = reduce(to, table, target);
  if (read_target.fault) return no_code(read_target.fault, to);
  Converter converter;
  if (read_source.fits && read_target.fits) {
    if (source.algebra || target.algebra || !commensurable(source, target))
      return mismatch(from, source, to, target, table);
    if (source.special == nullptr && target.special == nullptr) {
      Ratio factor = source.factor;
      if (factor.divide(target.factor) && converter.set_factor(factor)) return converter;
    }
  }
  auto slow = std::make_shared<Slow>();
  if (!reduce(from, table, slow->source).fits || !reduce(to, table, slow->target).fits) {
    return refusal("the factor between `" + std::string(from) + "` and `" + std::string(to) + "` is beyond " +
                       std::to_string(big_bits) + " bits",
                   "use smaller exponents");
  }
  if (auto wrong = mismatch(from, slow->source, to, slow->target, table); !wrong.message.empty())
    return wrong;
  if (auto prepared = slow->prepare(); !prepared) return prepared.error();

  converter.kind_ = indirect;
  converter.slow_ = std::move(slow);
  return converter;
}

Result<Conversion> Converter::convert(std::string_view value, const Rounding& rounding) const {
  const auto token = read_value(value);
  if (!token) {
    return refusal("the value is no decimal number, or longer than " + std::to_string(longest_value) +
                       " characters, or its exponent is beyond " + std::to_string(largest_value_exponent),
                   "write digits with a point");
  }
  if (kind_ == indirect) return slow_->convert(*token, rounding);
  Wide product;
  if (token->digits(product) && multiply(product, numerator_)) {
    return write_quotient(token->negative, product, denominator_, token->scale() + tens_, rounding);
  }
  return write_quotient(token->negative, token->digits() * Big(numerator_), Big(denominator_),
                        token->scale() + tens_, rounding);
}

}  // namespace charpie::units
