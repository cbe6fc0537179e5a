#include "base/decimal.hpp"

#include <algorithm>
#include <cstdlib>

namespace charpie {

namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

std::string_view without_leading_zeros(std::string_view digits) {
  const auto first = digits.find_first_not_of('0');
  return first == std::string_view::npos ? std::string_view{} : digits.substr(first);
}

// A decimal's text taken apart; the text is a decimal by is_decimal().
struct Parts {
  bool negative = false;
  std::string_view whole;
  std::string_view fraction;
  bool exponent_negative = false;
  std::string_view exponent;  // without sign and leading zeros; empty for 0

  explicit Parts(std::string_view text) {
    if (text.starts_with('-')) {
      negative = true;
      text.remove_prefix(1);
    }
    if (const auto e = text.find_first_of("eE"); e != std::string_view::npos) {
      exponent = text.substr(e + 1);
      text = text.substr(0, e);
      exponent_negative = exponent.starts_with('-');
      if (exponent_negative || exponent.starts_with('+')) exponent.remove_prefix(1);
      exponent = without_leading_zeros(exponent);
    }
    const auto point = text.find('.');
    whole = text.substr(0, point);
    if (point != std::string_view::npos) fraction = text.substr(point + 1);
  }

  std::size_t size() const { return whole.size() + fraction.size(); }
  char digit(std::size_t i) const { return i < whole.size() ? whole[i] : fraction[i - whole.size()]; }
  // Index of the first digit that is not 0; size() when there is none.
  std::size_t leading() const {
    std::size_t i = 0;
    while (i < size() && digit(i) == '0') ++i;
    return i;
  }
};

// Exponents of up to 17 digits are worked with as integers: no text can be long enough to shift them out of
// 64 bits. Longer ones are worked with as digits.
constexpr std::size_t short_exponent = 17;
constexpr long most_digits = 100'000'000'000'000'000;

// Only for exponents of at most 17 digits; longer ones give the bound.
long exponent_of(const Parts& parts) {
  long value = most_digits;
  if (parts.exponent.size() <= short_exponent) {
    value = 0;
    for (const char c : parts.exponent) value = value * 10 + (c - '0');
  }
  return parts.exponent_negative ? -value : value;
}

// Numbers of any length, most significant digit first, no leading zeros, "" is 0.
int compare_digits(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return a.size() < b.size() ? -1 : 1;
  const int order = a.compare(b);
  return order < 0 ? -1 : order > 0;
}

std::string add_digits(std::string_view a, std::string_view b) {
  if (a.size() < b.size()) std::swap(a, b);
  std::string sum(a.size() + 1, '0');
  int carry = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    int digit = a[a.size() - 1 - i] - '0' + carry;
    if (i < b.size()) digit += b[b.size() - 1 - i] - '0';
    sum[sum.size() - 1 - i] = static_cast<char>('0' + digit % 10);
    carry = digit / 10;
  }
  sum[0] = static_cast<char>('0' + carry);
  return std::string(without_leading_zeros(sum));
}

// a - b, for a not less than b.
std::string subtract_digits(std::string_view a, std::string_view b) {
  std::string difference(a);
  int borrow = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    int digit = a[a.size() - 1 - i] - '0' - borrow;
    if (i < b.size()) digit -= b[b.size() - 1 - i] - '0';
    borrow = digit < 0;
    difference[a.size() - 1 - i] = static_cast<char>('0' + (digit < 0 ? digit + 10 : digit));
  }
  return std::string(without_leading_zeros(difference));
}

struct SignedDigits {
  bool negative;
  std::string digits;
};

SignedDigits add(const SignedDigits& a, const SignedDigits& b) {
  if (a.negative == b.negative) return {a.negative, add_digits(a.digits, b.digits)};
  const int order = compare_digits(a.digits, b.digits);
  if (order == 0) return {false, {}};
  return order > 0 ? SignedDigits{a.negative, subtract_digits(a.digits, b.digits)}
                   : SignedDigits{b.negative, subtract_digits(b.digits, a.digits)};
}

int compare(const SignedDigits& a, const SignedDigits& b) {
  if (a.negative != b.negative) return a.negative ? -1 : 1;
  const int order = compare_digits(a.digits, b.digits);
  return a.negative ? -order : order;
}

// How many places the leading digit stands before the point, without the exponent: 1 for 4.00, -1 for 0.04.
long places_before_point(const Parts& parts) {
  return static_cast<long>(parts.whole.size()) - static_cast<long>(parts.leading());
}

int compare_leading_places(const Parts& a, const Parts& b) {
  if (a.exponent.size() <= short_exponent && b.exponent.size() <= short_exponent) {
    const long place_a = places_before_point(a) + exponent_of(a);
    const long place_b = places_before_point(b) + exponent_of(b);
    return place_a < place_b ? -1 : place_a > place_b;
  }
  const auto place = [](const Parts& parts) {
    const long shift = places_before_point(parts);
    const std::string size = std::to_string(std::labs(shift));
    return add({parts.exponent_negative && !parts.exponent.empty(), std::string(parts.exponent)},
               {shift < 0, std::string(without_leading_zeros(size))});
  };
  return compare(place(a), place(b));
}

// For two that are not 0: their absolute values.
int compare_magnitudes(const Parts& a, const Parts& b) {
  if (const int order = compare_leading_places(a, b); order != 0) return order;
  std::size_t i = a.leading();
  std::size_t j = b.leading();
  for (; i < a.size() || j < b.size(); ++i, ++j) {
    const char digit_a = i < a.size() ? a.digit(i) : '0';
    const char digit_b = j < b.size() ? b.digit(j) : '0';
    if (digit_a != digit_b) return digit_a < digit_b ? -1 : 1;
  }
  return 0;
}

}  // namespace

bool is_decimal(std::string_view text) {
  std::size_t at = 0;
  const auto digits = [&] {
    const std::size_t from = at;
    while (at < text.size() && is_digit(text[at])) ++at;
    return at - from;
  };
  if (text.starts_with('-')) ++at;
  const std::size_t whole = at;
  const std::size_t count = digits();
  if (count == 0 || (count > 1 && text[whole] == '0')) return false;
  if (at < text.size() && text[at] == '.') {
    ++at;
    if (digits() == 0) return false;
  }
  if (at < text.size() && (text[at] == 'e' || text[at] == 'E')) {
    ++at;
    if (at < text.size() && (text[at] == '+' || text[at] == '-')) ++at;
    if (digits() == 0) return false;
  }
  return at == text.size();
}

bool same_text(Decimal a, Decimal b) {
  return a.text == b.text;
}

bool same_value(Decimal a, Decimal b) {
  return compare(a, b) == 0;
}

int compare(Decimal a, Decimal b) {
  const int sign_a = sign(a);
  const int sign_b = sign(b);
  if (sign_a != sign_b) return sign_a < sign_b ? -1 : 1;
  if (sign_a == 0) return 0;
  return sign_a * compare_magnitudes(Parts(a.text), Parts(b.text));
}

int sign(Decimal a) {
  const Parts parts(a.text);
  if (parts.leading() == parts.size()) return 0;
  return parts.negative ? -1 : 1;
}

DecimalDigits digits(Decimal a) {
  const Parts parts(a.text);
  const long exponent = exponent_of(parts);
  const bool zero = parts.leading() == parts.size();
  const long before = zero ? 1 : places_before_point(parts) + exponent;
  const long after = static_cast<long>(parts.fraction.size()) - exponent;
  return {std::clamp(before, 1L, most_digits), std::clamp(after, 0L, most_digits)};
}

ExactDecimal::ExactDecimal(Decimal from) {
  const Parts parts(from.text);
  const std::size_t leading = parts.leading();
  if (leading == parts.size()) return;
  negative_ = parts.negative;
  // Only the digits within reach are copied, however many the text has.
  const long place = places_before_point(parts) + exponent_of(parts);
  const long wanted = std::clamp(place + reach, 0L, static_cast<long>(parts.size() - leading));
  digits_.clear();
  for (long i = 0; i < wanted; ++i) digits_ += parts.digit(leading + static_cast<std::size_t>(i));
  for (std::size_t i = leading + static_cast<std::size_t>(wanted); i < parts.size(); ++i) {
    if (parts.digit(i) != '0') exact_ = false;
  }
  exponent_ = place - wanted;
  settle();
}

ExactDecimal ExactDecimal::from_integer(long long value) {
  const std::string text = std::to_string(value);
  return ExactDecimal(Decimal(text));
}

// Brings the digits into the one form of each value, within reach.
void ExactDecimal::settle() {
  const std::string_view bare = without_leading_zeros(digits_);
  digits_ = std::string(bare);
  const long place = static_cast<long>(digits_.size()) + exponent_;
  if (!digits_.empty() && place > reach) {
    digits_ = "1";
    exponent_ = reach;
    exact_ = false;
  }
  if (exponent_ < -reach) {
    const auto cut = std::min(static_cast<std::size_t>(-reach - exponent_), digits_.size());
    if (digits_.find_first_not_of('0', digits_.size() - cut) != std::string::npos) exact_ = false;
    digits_.resize(digits_.size() - cut);
    exponent_ = -reach;
  }
  while (!digits_.empty() && digits_.back() == '0') {
    digits_.pop_back();
    ++exponent_;
  }
  if (digits_.empty()) {
    digits_ = "0";
    exponent_ = 0;
    negative_ = false;
  }
}

// The coefficient that the value has at a lower exponent; "" for 0. At most 2 * reach zeros are added.
std::string ExactDecimal::digits_down_to(long exponent) const {
  if (digits_ == "0") return {};
  return digits_ + std::string(static_cast<std::size_t>(exponent_ - exponent), '0');
}

ExactDecimal operator+(const ExactDecimal& a, const ExactDecimal& b) {
  const long exponent = std::min(a.exponent_, b.exponent_);
  SignedDigits sum =
      add({a.negative_, a.digits_down_to(exponent)}, {b.negative_, b.digits_down_to(exponent)});
  ExactDecimal result;
  result.negative_ = sum.negative;
  result.digits_ = std::move(sum.digits);
  result.exponent_ = exponent;
  result.exact_ = a.exact_ && b.exact_;
  result.settle();
  return result;
}

ExactDecimal operator-(const ExactDecimal& a, const ExactDecimal& b) {
  ExactDecimal negated = b;
  negated.negative_ = !b.negative_;
  return a + negated;
}

ExactDecimal operator*(const ExactDecimal& a, const ExactDecimal& b) {
  ExactDecimal product;
  product.digits_.assign(a.digits_.size() + b.digits_.size(), '\0');
  for (std::size_t i = a.digits_.size(); i-- > 0;) {
    int carry = 0;
    for (std::size_t j = b.digits_.size(); j-- > 0;) {
      char& place = product.digits_[i + j + 1];
      const int value = place + (a.digits_[i] - '0') * (b.digits_[j] - '0') + carry;
      place = static_cast<char>(value % 10);
      carry = value / 10;
    }
    product.digits_[i] = static_cast<char>(product.digits_[i] + carry);
  }
  for (char& digit : product.digits_) digit = static_cast<char>(digit + '0');
  product.negative_ = a.negative_ != b.negative_;
  product.exponent_ = a.exponent_ + b.exponent_;
  product.exact_ = a.exact_ && b.exact_;
  product.settle();
  return product;
}

int ExactDecimal::compare(const ExactDecimal& other) const {
  return (*this - other).sign();
}

int ExactDecimal::sign() const {
  if (digits_ == "0") return 0;
  return negative_ ? -1 : 1;
}

std::string ExactDecimal::text() const {
  std::string text = negative_ ? "-" : "";
  if (exponent_ >= 0) {
    text += digits_;
    if (digits_ != "0") text.append(static_cast<std::size_t>(exponent_), '0');
    return text;
  }
  const auto after = static_cast<std::size_t>(-exponent_);
  if (digits_.size() > after) {
    text += digits_.substr(0, digits_.size() - after);
    text += '.';
    text += digits_.substr(digits_.size() - after);
  } else {
    text += "0.";
    text.append(after - digits_.size(), '0');
    text += digits_;
  }
  return text;
}

}  // namespace charpie
