#include "base/decimal.hpp"

#include <doctest/doctest.h>

#include <concepts>
#include <random>
#include <string>
#include <type_traits>

using namespace charpie;

namespace {

// What must not compile: a question asked through these concepts gets "no".
template <class T>
concept comparable_by_sign = requires(T a, T b) {
  a == b;
};
template <class T>
concept orderable_by_sign = requires(T a, T b) {
  a < b;
};
static_assert(!comparable_by_sign<Decimal>, "4.0 == 4.00 has no answer; same_text and same_value have");
static_assert(!orderable_by_sign<Decimal>);
static_assert(!std::constructible_from<Decimal, double>);
static_assert(!std::constructible_from<Decimal, float>);
static_assert(!std::constructible_from<Decimal, int>);
static_assert(!std::convertible_to<Decimal, double>);
static_assert(!std::is_constructible_v<double, Decimal>);
static_assert(!std::convertible_to<std::string_view, Decimal>, "a text becomes a decimal by name only");
static_assert(!std::constructible_from<ExactDecimal, double>);
static_assert(!std::is_constructible_v<double, ExactDecimal>);

__extension__ typedef __int128 Wide;  // the compilers' own

Decimal d(std::string_view text) {
  return Decimal(text);
}

}  // namespace

TEST_CASE("FHIR's grammar of decimals (R4, datatype decimal)") {
  const char* good[] = {"0",
                        "-0",
                        "7",
                        "10",
                        "-10",
                        "0.5",
                        "-0.50",
                        "4.00",
                        "1e2",
                        "1E2",
                        "1e+2",
                        "1e-2",
                        "0e0",
                        "0.0e5",
                        "1e007",
                        "120.010",
                        "12345678901234567890123456789.12345678901234567890"};
  for (const auto* text : good) {
    CAPTURE(text);
    CHECK(is_decimal(text));
  }
  const char* bad[] = {"",         "-",     "+1",   "01",  "-01", "00", ".5",    "-.5",     "5.",
                       "1.e2",     "1e",    "1e+",  "1e-", " 1",  "1 ", "1,5",   "0x1",     "NaN",
                       "Infinity", "1e2.5", "1__0", "--1", "1-",  "e5", "1.2.3", "\xD9\xA1"};
  for (const auto* text : bad) {
    CAPTURE(text);
    CHECK_FALSE(is_decimal(text));
  }
  CHECK_FALSE(is_decimal(std::string_view("1\0", 2)));
}

TEST_CASE("the same text and the same value are two questions") {
  CHECK(same_text(d("4.00"), d("4.00")));
  CHECK_FALSE(same_text(d("4.0"), d("4.00")));
  CHECK(same_value(d("4.0"), d("4.00")));
  CHECK(same_value(d("4.00"), d("40e-1")));
  CHECK(same_value(d("4"), d("0.4e1")));
  CHECK(same_value(d("-0"), d("0")));
  CHECK(same_value(d("0e9"), d("0.000")));
  CHECK(same_value(d("1E+2"), d("100")));
  CHECK_FALSE(same_value(d("4.00"), d("4.01")));
  CHECK_FALSE(same_value(d("4"), d("-4")));
  // Beyond what a double can tell apart.
  CHECK_FALSE(same_value(d("0.1"), d("0.1000000000000000055511151231257827")));
  CHECK_FALSE(same_value(d("9007199254740993"), d("9007199254740992")));
}

TEST_CASE("order, whatever the exponents") {
  // Strictly rising.
  const char* rising[] = {"-1e1000000000000000000000000",
                          "-1e999999999999",
                          "-12",
                          "-1.5",
                          "-1",
                          "-0.999",
                          "-1e-999999999999999999999",
                          "0",
                          "1e-1000000000000000000000000",
                          "1e-999999999999999999999999",
                          "2e-999999999999999999999999",
                          "1e-99999999999999999",
                          "0.001",
                          "0.0010001",
                          "0.5",
                          "0.50000000000000000000000001",
                          "9",
                          "10",
                          "10.1",
                          "100",
                          "1e300",
                          "9e99999999999999999",
                          "1e100000000000000000",
                          "1.0000001e100000000000000000",
                          "9.99e999999999999999999999",
                          "1e1000000000000000000000000",
                          "10.5e1000000000000000000000000"};
  for (std::size_t i = 0; i < std::size(rising); ++i) {
    for (std::size_t j = 0; j < std::size(rising); ++j) {
      CAPTURE(rising[i]);
      CAPTURE(rising[j]);
      CHECK(compare(d(rising[i]), d(rising[j])) == (i < j ? -1 : i > j));
    }
  }
  // The same number though the exponent's digits carry.
  CHECK(compare(d("10e999999999999999999999999"), d("1e1000000000000000000000000")) == 0);
  CHECK(compare(d("0.1e1000000000000000000000000"), d("1e999999999999999999999999")) == 0);
  CHECK(compare(d("0.001e1000000000000000000000000"), d("1e999999999999999999999997")) == 0);
  CHECK(compare(d("0.1e-999999999999999999999999"), d("1e-1000000000000000000000000")) == 0);
  CHECK(compare(d("1e0000000000000000000000000002"), d("100")) == 0);
  CHECK(compare(d("1e-00000000000000000000000000"), d("1")) == 0);
  CHECK(compare(d("100000000000000000000000000e-26"), d("1")) == 0);
  CHECK(compare(d("0e999999999999999999999999"), d("-0e-5")) == 0);
}

TEST_CASE("order agrees with integers of 128 bits on seeded numbers") {
  std::mt19937_64 random(20260302);
  const auto pick = [&](int low, int high) {
    return static_cast<int>(low + static_cast<int>(random() % static_cast<unsigned>(high - low + 1)));
  };
  struct Number {
    std::string text;
    Wide value;  // times 10^20
  };
  const auto number = [&] {
    const bool negative = pick(0, 1) == 1;
    const int whole = pick(0, 1) ? pick(0, 20) : pick(0, 99999);
    const int places = pick(0, 6);
    std::string fraction;
    for (int i = 0; i < places; ++i) fraction += static_cast<char>('0' + pick(0, 2) * pick(0, 4));
    const int exponent = pick(-8, 8);
    Wide value = 0;
    for (const char c : std::to_string(whole) + fraction) value = value * 10 + (c - '0');
    for (int i = 0; i < 20 - places + exponent; ++i) value *= 10;
    std::string text = (negative ? "-" : "") + std::to_string(whole);
    if (places > 0) text += "." + fraction;
    if (exponent != 0) text += "e" + std::to_string(exponent);
    return Number{text, negative ? -value : value};
  };
  for (int i = 0; i < 20000; ++i) {
    const Number a = number();
    const Number b = number();
    CAPTURE(a.text);
    CAPTURE(b.text);
    REQUIRE(is_decimal(a.text));
    REQUIRE(compare(d(a.text), d(b.text)) == (a.value < b.value ? -1 : a.value > b.value));
    REQUIRE(sign(d(a.text)) == (a.value < 0 ? -1 : a.value > 0));
    REQUIRE(ExactDecimal(d(a.text)).compare(ExactDecimal(d(b.text))) == compare(d(a.text), d(b.text)));
  }
}

TEST_CASE("digits before and after the point") {
  const struct {
    const char* text;
    long before;
    long after;
  } rows[] = {{"0", 1, 0},
              {"-0", 1, 0},
              {"4.00", 1, 2},
              {"-120.5", 3, 1},
              {"0.05", 1, 2},
              {"1e2", 3, 0},
              {"4.00e1", 2, 1},
              {"12e-3", 1, 3},
              {"0.05e1", 1, 1},
              {"1.5e5", 6, 0},
              {"0e5", 1, 0},
              {"0.0", 1, 1},
              {"0e-5", 1, 5},
              {"100e-2", 1, 2},
              {"123456789012345678.12345678901234567", 18, 17},
              {"1e99999999999999999999999999", 100000000000000000, 0},
              {"1e-99999999999999999999999999", 1, 100000000000000000}};
  for (const auto& row : rows) {
    CAPTURE(row.text);
    CHECK(digits(d(row.text)).before == row.before);
    CHECK(digits(d(row.text)).after == row.after);
  }
}

TEST_CASE("exact sums, differences and products") {
  const auto x = [](const char* text) { return ExactDecimal(Decimal(text)); };
  CHECK((x("0.1") + x("0.2")).text() == "0.3");
  CHECK((x("12.50") + x("0")).text() == "12.5");
  CHECK((x("1e2") + x("1")).text() == "101");
  CHECK((x("999.999") + x("0.001")).text() == "1000");
  CHECK((x("3.0") - x("3.00")).text() == "0");
  CHECK((x("3.0") - x("3.00")).sign() == 0);
  CHECK((x("1") - x("1.001")).text() == "-0.001");
  CHECK((x("-2.5") + x("1")).text() == "-1.5");
  CHECK((x("-2.5") - x("-2.5")).text() == "0");
  CHECK((x("1.2") * x("-0.25")).text() == "-0.3");
  CHECK((x("99999999999999999999") * x("99999999999999999999")).text() ==
        "9999999999999999999800000000000000000001");
  CHECK((x("0") * x("-5")).text() == "0");
  CHECK((x("0") * x("-5")).sign() == 0);
  CHECK(x("-0.003").text() == "-0.003");
  CHECK(x("12e-3").text() == "0.012");
  CHECK(ExactDecimal().text() == "0");
  CHECK(ExactDecimal::from_integer(-9223372036854775807LL - 1).text() == "-9223372036854775808");
  CHECK(ExactDecimal::from_integer(100).text() == "100");
  CHECK(x("4.0").compare(x("4.00")) == 0);
  CHECK(x("-1").compare(x("0.5")) == -1);
  CHECK(x("1e30").compare(x("1e29")) == 1);
}

TEST_CASE("exact arithmetic agrees with integers of 128 bits on seeded numbers") {
  std::mt19937_64 random(7);
  const auto text_of = [](Wide value, std::size_t places) {
    const bool negative = value < 0;
    if (negative) value = -value;
    std::string digits;
    for (; value != 0; value /= 10)
      digits.insert(digits.begin(), static_cast<char>('0' + static_cast<int>(value % 10)));
    if (digits.size() <= places) digits.insert(0, places + 1 - digits.size(), '0');
    std::string text = digits.substr(0, digits.size() - places);
    std::string fraction = digits.substr(digits.size() - places);
    while (!fraction.empty() && fraction.back() == '0') fraction.pop_back();
    if (!fraction.empty()) text += "." + fraction;
    return (negative ? "-" : "") + text;
  };
  for (int i = 0; i < 20000; ++i) {
    const auto bits = [&] {
      return static_cast<Wide>(static_cast<std::int64_t>(random()) >> (random() % 56));
    };
    const Wide a = bits();
    const Wide b = bits();
    const std::string text_a = text_of(a, 3);
    const std::string text_b = text_of(b, 3);
    const ExactDecimal x{Decimal(text_a)};
    const ExactDecimal y{Decimal(text_b)};
    CAPTURE(text_a);
    CAPTURE(text_b);
    REQUIRE(x.text() == text_a);
    REQUIRE((x + y).text() == text_of(a + b, 3));
    REQUIRE((x - y).text() == text_of(a - b, 3));
    REQUIRE((x * y).text() == text_of(a * b, 6));
  }
}

TEST_CASE("exact decimals stop at their reach and say so") {
  const auto x = [](std::string_view text) { return ExactDecimal(Decimal(text)); };
  CHECK(x("1e999").is_exact());
  CHECK(x("1e-1000").is_exact());
  const ExactDecimal huge = x("7e999999999999999999999999");
  CHECK_FALSE(huge.is_exact());
  CHECK(huge.sign() == 1);
  CHECK(huge.compare(x("1e999")) == 1);
  CHECK(huge.text().size() == 1001);
  CHECK(x("-7e9999").compare(x("-1e999")) == -1);
  const ExactDecimal tiny = x("-1e-999999999999");
  CHECK_FALSE(tiny.is_exact());
  CHECK(tiny.sign() == 0);
  CHECK((x("1") + tiny).text() == "1");
  CHECK_FALSE((x("1") + tiny).is_exact());
  CHECK_FALSE((x("1e600") * x("1e600")).is_exact());
  CHECK_FALSE((x("1e-600") * x("3e-600")).is_exact());
  CHECK((x("1e-600") * x("3e-400")).is_exact());
  CHECK((x("1e-600") * x("3e600")).text() == "3");
  // A text of a million digits costs no more than its reach.
  const std::string nines = "0." + std::string(1000000, '9');
  CHECK(x(nines).text().size() == 1002);
  CHECK_FALSE(x(nines).is_exact());
  const std::string zeros = "1." + std::string(1000000, '0');
  CHECK(x(zeros).is_exact());
  CHECK(x(zeros).text() == "1");
  CHECK((x("1e-1000") + x("1e999")).text().size() == 2001);
}
