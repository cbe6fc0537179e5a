// A decimal is its text. What was charted as 4.00 stays 4.00; no double ever holds it.
#pragma once
#include <string>
#include <string_view>

namespace charpie {

/// A decimal number as written: FHIR's grammar -?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)? (R4, datatype
/// decimal). A view: the bytes belong to whoever read them. There is no operator== and no way from or to
/// double: whether 4.0 and 4.00 are the same is asked by name.
struct Decimal {
  std::string_view text;
  explicit constexpr Decimal(std::string_view token) : text(token) {}
  Decimal(double) = delete;
  bool operator==(const Decimal&) const = delete;
};

/// Whether the text follows FHIR's grammar for a decimal.
bool is_decimal(std::string_view text);

/// Character by character the same: 4.0 and 4.00 are not.
bool same_text(Decimal a, Decimal b);

/// The same number: 4.0, 4.00 and 40e-1 are; -0 and 0 are.
bool same_value(Decimal a, Decimal b);

/// -1, 0 or 1 as a is less than, equal to or greater than b, exactly, however large the exponents are
/// written. Both must be decimals by is_decimal().
int compare(Decimal a, Decimal b);

/// -1, 0 or 1: the sign of the value; -0 has sign 0.
int sign(Decimal a);

/// Digits before (at least 1) and after the point when written without exponent and without leading
/// zeros: 4.00e1 is 40.0, two and one. Counts beyond 10^17 are given as 10^17. R5 allows 18 and 17 (datatype
/// decimal).
struct DecimalDigits {
  long before;
  long after;
};
DecimalDigits digits(Decimal a);

/// A decimal worked with exactly: coefficient text without sign or leading zeros, times ten to an exponent.
/// For sums and comparisons in checks; conversion between units is units/.
/// Its reach is bounded, so that 1e999999999 costs no memory: digits from 10^999 down to 10^-1000. A value of
/// 10^1000 or more counts as 10^1000, digits below 10^-1000 are dropped, and is_exact() is false from then
/// on.
class ExactDecimal {
 public:
  static constexpr long reach = 1000;

  ExactDecimal() = default;
  explicit ExactDecimal(Decimal from);
  static ExactDecimal from_integer(long long value);
  friend ExactDecimal operator+(const ExactDecimal& a, const ExactDecimal& b);
  friend ExactDecimal operator-(const ExactDecimal& a, const ExactDecimal& b);
  friend ExactDecimal operator*(const ExactDecimal& a, const ExactDecimal& b);
  int compare(const ExactDecimal& other) const;
  int sign() const;
  /// False when this, or something that it was computed from, lay beyond the reach.
  bool is_exact() const { return exact_; }
  /// Plain notation without exponent, no superfluous zeros: "12.5", "-0.003", "0".
  std::string text() const;

 private:
  bool negative_ = false;
  std::string digits_ = "0";  // most significant first, no leading zeros unless "0"
  long exponent_ = 0;
  bool exact_ = true;
  std::string digits_down_to(long exponent) const;
  void settle();
};

}  // namespace charpie
