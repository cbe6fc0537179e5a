#include "rules/derived.hpp"

#include <boost/multiprecision/cpp_dec_float.hpp>

#include "rules/visit.hpp"

namespace charpie::rules {

namespace {

using Number = boost::multiprecision::cpp_dec_float_50;

constexpr long long seconds_in_week = 7LL * 24 * 60 * 60;

Number number(const ExactDecimal& value) {
  return Number(value.text());
}

Number pi() {
  return Number("3.14159265358979323846264338327950288419716939937511");
}

// Rounds decimal text half-even; more than 50 digits are as good as none, the inputs are.
std::string rounded_text(const Number& value, int decimals) {
  Number scale = 1;
  for (int i = 0; i < decimals; ++i) scale *= 10;
  Number scaled = value * scale;
  Number whole = floor(scaled);
  const Number rest = scaled - whole;
  const Number half("0.5");
  // A rest within 10^-40 of one half is taken for it: quotients such as 1/8 end, others do not come that
  // near.
  const bool is_half = abs(rest - half) < Number("1e-40");
  if (is_half ? (fmod(whole, Number(2)) != 0) : rest > half) whole += 1;
  const Number size = abs(whole);
  std::string digits = size.str(0, std::ios_base::fixed);
  if (const auto point = digits.find('.'); point != std::string::npos) digits.resize(point);
  while (digits.size() <= static_cast<std::size_t>(decimals)) digits.insert(0, 1, '0');
  if (decimals > 0) digits.insert(digits.size() - static_cast<std::size_t>(decimals), 1, '.');
  return (whole < 0 ? "-" : "") + digits;
}

Error refused(std::string why) {
  return {Error::invalid, std::move(why)};
}

// Ramanujan's first approximation of an ellipse's perimeter.
Number perimeter(const SizeAt& size) {
  const Number a = number(size.length) / 2;
  const Number b = number(size.width) / 2;
  return pi() * (3 * (a + b) - sqrt((3 * a + b) * (a + 3 * b)));
}

}  // namespace

ExactDecimal rectangle_area(const ExactDecimal& length, const ExactDecimal& width) {
  return length * width;
}

ExactDecimal ellipse_area(const ExactDecimal& length, const ExactDecimal& width, EllipseFactor factor) {
  static const ExactDecimal quarter_pi{Decimal("0.78539816339744830962")};
  static const ExactDecimal page{Decimal("0.785")};
  return length * width * (factor == EllipseFactor::quarter_pi ? quarter_pi : page);
}

std::string rounded(const ExactDecimal& value, int decimals) {
  return rounded_text(number(value), decimals);
}

Result<std::string> percent_area_reduction(const ExactDecimal& first, const ExactDecimal& last,
                                           int decimals) {
  if (first.sign() <= 0) return refused("the first area is 0");
  return rounded_text((number(first) - number(last)) / number(first) * 100, decimals);
}

Result<std::string> linear_rate_per_week(const SizeAt& first, const SizeAt& last, int decimals) {
  const long long seconds = last.seconds - first.seconds;
  if (seconds <= 0) return refused("no time lies between the two");
  const Number perimeters = perimeter(first) + perimeter(last);
  if (perimeters <= 0) return refused("both sizes are 0");
  const Number first_area = number(first.length) * number(first.width) * pi() / 4;
  const Number last_area = number(last.length) * number(last.width) * pi() / 4;
  const Number weeks = Number(seconds) / seconds_in_week;
  return rounded_text((first_area - last_area) / (perimeters / 2) / weeks, decimals);
}

Result<std::string> exponential_rate_per_week(const ExactDecimal& first, const ExactDecimal& last,
                                              long long seconds, int decimals) {
  if (seconds <= 0) return refused("no time lies between the two");
  if (first.sign() <= 0 || last.sign() <= 0) return refused("an area is 0, which has no logarithm");
  const Number weeks = Number(seconds) / seconds_in_week;
  return rounded_text(log(number(first) / number(last)) / weeks, decimals);
}

void derive_measures(Visit& visit) {
  using record::FieldId;
  using record::FindingId;
  const record::Value* size = visit.at(FieldId::size);
  if (size == nullptr || size->form != record::Form::group) return;
  const auto length = visit.amount(FieldId::size_length);
  const auto width = visit.amount(FieldId::size_width);
  if (!length || !width) {
    return visit.report(FindingId::not_derived, FieldId::size,
                        {"the area", "length and width are not both charted as plain amounts"});
  }
  const auto inputs = shown(*visit.at(FieldId::size_length)->quantity) + " x " +
                      shown(*visit.at(FieldId::size_width)->quantity);
  visit.report(FindingId::derived, FieldId::size,
               {"area by rectangle", rectangle_area(*length, *width).text() + " cm2", inputs});
  visit.report(
      FindingId::derived, FieldId::size,
      {"area by ellipse", rounded(ellipse_area(*length, *width, EllipseFactor::quarter_pi), 4) + " cm2",
       inputs + " x pi/4"});
}

}  // namespace charpie::rules
