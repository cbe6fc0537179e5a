// Measures worked out from sizes, against published figures.
#include "rules/derived.hpp"

#include <doctest/doctest.h>

#include "rules/checking.hpp"

using namespace charpie;
using namespace charpie::tests;
using rules::EllipseFactor;

namespace {

ExactDecimal exact(std::string_view text) {
  return ExactDecimal(Decimal(text));
}
constexpr long long week = 7 * 86400;

}  // namespace

TEST_CASE("a public calculator page's example: 4.2 x 2.8 to 3.1 x 2.0 cm in 4 weeks") {
  const auto before = rules::rectangle_area(exact("4.2"), exact("2.8"));
  const auto after = rules::rectangle_area(exact("3.1"), exact("2.0"));
  CHECK(before.text() == "11.76");
  CHECK(after.text() == "6.2");
  CHECK(rules::percent_area_reduction(before, after, 1).value() == "47.3");
  // The same by ellipses, worked out by hand: 9.236 and 4.869 cm2.
  const auto ellipse_before = rules::ellipse_area(exact("4.2"), exact("2.8"), EllipseFactor::quarter_pi);
  const auto ellipse_after = rules::ellipse_area(exact("3.1"), exact("2.0"), EllipseFactor::quarter_pi);
  CHECK(rules::rounded(ellipse_before, 3) == "9.236");
  CHECK(rules::rounded(ellipse_after, 3) == "4.869");
  CHECK(rules::percent_area_reduction(ellipse_before, ellipse_after, 1).value() == "47.3");
  // Worked out by hand: k = ln(11.76 / 6.20) / 4 and, with ellipse perimeters, 0.1137 cm a week.
  CHECK(rules::exponential_rate_per_week(before, after, 4 * week, 4).value() == "0.1600");
  CHECK(
      rules::linear_rate_per_week({exact("4.2"), exact("2.8"), 0}, {exact("3.1"), exact("2.0"), 4 * week}, 4)
          .value() == "0.1137");
}

TEST_CASE("a circle whose radius goes from 2 to 1 cm in 4 weeks loses exactly 0.25 cm a week") {
  CHECK(rules::linear_rate_per_week({exact("4"), exact("4"), 0}, {exact("2"), exact("2"), 4 * week}, 12)
            .value() == "0.250000000000");
  CHECK(rules::linear_rate_per_week({exact("2"), exact("2"), 0}, {exact("4"), exact("4"), 4 * week}, 4)
            .value() == "-0.2500");
}

TEST_CASE("a page's table of areas: the factors 0.785 and pi/4 differ in the second decimal") {
  struct Row {
    std::string_view length, width, rectangle, by_0785, by_pi;
  };
  // Rectangle and 0.785 as printed on a wound care page; pi/4 worked out. The first row of the page is
  // rounded.
  for (const auto& [length, width, rectangle, by_0785, by_pi] :
       {Row{"2.0", "1.0", "2.00", "1.57", "1.57"}, Row{"3.0", "2.0", "6.00", "4.71", "4.71"},
        Row{"5.0", "4.0", "20.00", "15.70", "15.71"}, Row{"8.0", "6.0", "48.00", "37.68", "37.70"}}) {
    CHECK(rules::rounded(rules::rectangle_area(exact(length), exact(width)), 2) == rectangle);
    CHECK(rules::rounded(rules::ellipse_area(exact(length), exact(width), EllipseFactor::page_0785), 2) ==
          by_0785);
    CHECK(rules::rounded(rules::ellipse_area(exact(length), exact(width), EllipseFactor::quarter_pi), 2) ==
          by_pi);
  }
}

TEST_CASE("rounding is half-even, with the digits asked for") {
  for (const auto& one :
       {std::tuple("0.125", 2, "0.12"), std::tuple("0.135", 2, "0.14"), std::tuple("-0.125", 2, "-0.12"),
        std::tuple("-0.135", 2, "-0.14"), std::tuple("0.1251", 2, "0.13"), std::tuple("2", 3, "2.000"),
        std::tuple("2.5", 0, "2"), std::tuple("3.5", 0, "4"), std::tuple("0.004", 2, "0.00")}) {
    const auto& [value, decimals, text] = one;
    CAPTURE(std::get<0>(one));
    CHECK(rules::rounded(exact(value), decimals) == text);
  }
}

TEST_CASE("what is undefined is refused with its reason") {
  CHECK(rules::percent_area_reduction(exact("0"), exact("2"), 1).error().message == "the first area is 0");
  CHECK(rules::percent_area_reduction(exact("2"), exact("3"), 1).value() == "-50.0");
  CHECK(rules::exponential_rate_per_week(exact("2"), exact("0"), week, 4).error().message ==
        "an area is 0, which has no logarithm");
  CHECK_FALSE(rules::exponential_rate_per_week(exact("2"), exact("1"), 0, 4));
  CHECK_FALSE(rules::linear_rate_per_week({exact("2"), exact("2"), week}, {exact("2"), exact("2"), week}, 4));
  CHECK_FALSE(rules::linear_rate_per_week({exact("0"), exact("0"), 0}, {exact("0"), exact("0"), week}, 4));
}

TEST_CASE("areas of coins are those of discs") {
  // Official diameters in mm (see book_test.cpp); areas in cm2 worked out by hand to two decimals.
  for (const auto& [diameter, area] :
       {std::pair("1.791", "2.52"), std::pair("1.905", "2.85"), std::pair("2.121", "3.53"),
        std::pair("2.426", "4.62"), std::pair("3.061", "7.36"), std::pair("2.649", "5.51"),
        std::pair("1.625", "2.07"), std::pair("1.875", "2.76"), std::pair("1.975", "3.06"),
        std::pair("2.125", "3.55"), std::pair("2.225", "3.89"), std::pair("2.325", "4.25"),
        std::pair("2.425", "4.62"), std::pair("2.575", "5.21")}) {
    CHECK(rules::rounded(rules::ellipse_area(exact(diameter), exact(diameter), EllipseFactor::quarter_pi),
                         2) == area);
  }
}

TEST_CASE("the published size of 4 x 2 x 0.2 cm with an area of 4 cm2 keeps its area and is looked at") {
  // HL7 lower-extremity wound guide 2020, example of a wound size: neither 8 nor 6.2832 cm2.
  const auto reading = checked(source_file("tests/cases/rules/size.area-differs.json"));
  REQUIRE(reading.findings.all().size() == 1);
  CHECK(reading.findings.all()[0].severity == record::Severity::warning);
  CHECK(reading.findings.all()[0].message ==
        "the area 4 cm2 is neither length x width (8 cm2) nor the ellipse in it (6.2832 cm2)");
  CHECK(reading.written().find(R"("area":{"value":4,"unit":"cm2"})") != std::string::npos);
}

TEST_CASE("undermining from 12 to 3 o'clock and from 11 past 12 to 2 are good") {
  for (const auto* range : {R"("from":12,"to":3)", R"("from":11,"to":2)"}) {
    const auto reading = checked(
        R"({"format":"wound-visit/1","id":"V-1","status":"final","source":{"system":"https://invented.example/cases"},
      "patient":{"id":"P-1"},"wound":{"id":"1"},"performed":{"kind":"assessment","outcome":"completed","start":"2026-03-02T10:00+01:00"},
      "spaces":[{"kind":"undermining",)" +
        std::string(range) + R"(,"extent":{"value":1.5,"unit":"cm"}}]})");
    CHECK(reading.said() == "");
  }
}
