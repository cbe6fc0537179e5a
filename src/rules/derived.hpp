// Measures worked out from charted sizes, only when asked for, each with its formula and inputs. Never a
// forecast.
//
// Areas are exact decimals. Rates need roots and quotients: they are worked out to 50 decimal digits and
// rounded once, half-even, to the digits asked for.
#pragma once
#include <string>
#include <string_view>

#include "base/decimal.hpp"
#include "base/result.hpp"

namespace charpie::rules {

/// The two factors in use for an ellipse's area, which differ in the second decimal of larger wounds (wound
/// measurement pages print both): pi/4 to 20 digits, and 0.785.
enum class EllipseFactor { quarter_pi, page_0785 };

/// length x width, in cm2 when both are in cm.
ExactDecimal rectangle_area(const ExactDecimal& length, const ExactDecimal& width);
/// length x width x factor.
ExactDecimal ellipse_area(const ExactDecimal& length, const ExactDecimal& width, EllipseFactor factor);

/// Rounded half-even to `decimals` digits after the point, with exactly that many digits.
std::string rounded(const ExactDecimal& value, int decimals);

/// (first - last) / first x 100; negative when the wound grew. Error::invalid when the first area is 0.
Result<std::string> percent_area_reduction(const ExactDecimal& first, const ExactDecimal& last, int decimals);

/// A size in cm at an instant, for rates.
struct SizeAt {
  ExactDecimal length, width;
  long long seconds = 0;
};

/// Advance of the margin a week: (A1 - A2) / ((p1 + p2) / 2) / weeks, with the areas and perimeters of
/// ellipses (Gilman; formula as printed in the abstract of a study of 81 venous ulcers; perimeter by
/// Ramanujan's first approximation, from memory). cm a week, positive when the wound shrinks. An estimate:
/// perimeters are seldom charted. Error::invalid when the time between is not positive or both are without
/// perimeter.
Result<std::string> linear_rate_per_week(const SizeAt& first, const SizeAt& last, int decimals);

/// ln(A0 / At) / weeks. Error::invalid when an area is 0 or the time between is not positive.
Result<std::string> exponential_rate_per_week(const ExactDecimal& first, const ExactDecimal& last,
                                              long long seconds, int decimals);

}  // namespace charpie::rules
