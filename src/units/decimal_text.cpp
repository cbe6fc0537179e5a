#include "units/decimal_text.hpp"

#include <array>
#include <charconv>

namespace charpie::units {

namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

std::string_view take_digits(std::string_view& text) {
  std::size_t length = 0;
  while (length < text.size() && is_digit(text[length])) ++length;
  const auto digits = text.substr(0, length);
  text.remove_prefix(length);
  return digits;
}

std::string decimal_digits(Wide value) {
  char buffer[40];
  char* place = buffer + sizeof buffer;
  while ((value >> 64) != 0) {
    *--place = static_cast<char>('0' + static_cast<int>(value % 10));
    value /= 10;
  }
  auto rest = static_cast<std::uint64_t>(value);
  do {
    *--place = static_cast<char>('0' + static_cast<int>(rest % 10));
    rest /= 10;
  } while (rest != 0);
  return {place, buffer + sizeof buffer};
}

std::string decimal_digits(const Big& value) {
  return value.str();
}

// Plain text of 0.digits * 10^point, without superfluous zeros.
std::string plain(bool negative, std::string_view digits, std::int64_t point) {
  while (!digits.empty() && digits.front() == '0') {
    digits.remove_prefix(1);
    --point;
  }
  while (!digits.empty() && digits.back() == '0') digits.remove_suffix(1);
  if (digits.empty()) return "0";
  std::string text;
  if (negative) text += '-';
  const auto size = static_cast<std::int64_t>(digits.size());
  if (point <= 0) {
    text += "0.";
    text.append(static_cast<std::size_t>(-point), '0');
    text += digits;
  } else if (point >= size) {
    text += digits;
    text.append(static_cast<std::size_t>(point - size), '0');
  } else {
    text += digits.substr(0, static_cast<std::size_t>(point));
    text += '.';
    text += digits.substr(static_cast<std::size_t>(point));
  }
  return text;
}

// digits * 10^exponent, which ends: exact if it ends soon enough.
Conversion write_finite(bool negative, std::string digits, std::int64_t exponent, const Rounding& rounding) {
  while (digits.size() > 1 && digits.back() == '0') {
    digits.pop_back();
    ++exponent;
  }
  const auto point = static_cast<std::int64_t>(digits.size()) + exponent;
  if (digits == "0" || -exponent <= rounding.exact_decimals) return {plain(negative, digits, point), true};
  // Rounding must not call a value inexact that it leaves as it is.
  if (digits.size() <= static_cast<std::size_t>(rounding.significant))
    return {plain(negative, digits, point), true};
  return write_rounded(negative, std::move(digits), point, false, rounding);
}

// The next decimal digits of rest / denominator, as many as `step` has zeros.
constexpr std::uint64_t chunk = 1'000'000'000'000'000'000u;
constexpr std::size_t chunk_digits = 18;

void append_chunk(std::string& digits, std::uint64_t value) {
  char buffer[chunk_digits];
  for (std::size_t i = chunk_digits; i > 0; --i) {
    buffer[i - 1] = static_cast<char>('0' + static_cast<int>(value % 10));
    value /= 10;
  }
  digits.append(buffer, chunk_digits);
}

// Endless decimals: digits of the quotient until there are enough to round.
template <class Integer>
Conversion write_endless(bool negative, const Integer& numerator, const Integer& denominator,
                         std::int64_t exponent, const Rounding& rounding) {
  const Integer quotient = numerator / denominator;
  Integer rest = numerator % denominator;
  std::string digits;
  auto point = exponent;
  if (quotient != 0) {
    digits = decimal_digits(quotient);
    point += static_cast<std::int64_t>(digits.size());
  }
  while (digits.size() <= static_cast<std::size_t>(rounding.significant)) {
    rest *= chunk;
    const Integer next = rest / denominator;
    rest %= denominator;
    append_chunk(digits, static_cast<std::uint64_t>(next));
    const auto leading = digits.find_first_not_of('0');
    const auto zeros = leading == std::string::npos ? digits.size() : leading;
    digits.erase(0, zeros);
    point -= static_cast<std::int64_t>(zeros);
  }
  return write_rounded(negative, std::move(digits), point, rest != 0, rounding);
}

}  // namespace

bool ValueToken::digits(Wide& value) const {
  const std::size_t size = whole.size() + fraction.size();
  if (size <= 19) {  // below 2^64
    std::uint64_t small = 0;
    for (const char c : whole) small = small * 10 + static_cast<std::uint64_t>(c - '0');
    for (const char c : fraction) small = small * 10 + static_cast<std::uint64_t>(c - '0');
    value = small;
    return true;
  }
  if (size > 38) return false;
  value = 0;
  for (const char c : whole) value = value * 10 + static_cast<unsigned>(c - '0');
  for (const char c : fraction) value = value * 10 + static_cast<unsigned>(c - '0');
  return true;
}

Big ValueToken::digits() const {
  Big value = 0;
  for (const char c : whole) value = value * 10 + (c - '0');
  for (const char c : fraction) value = value * 10 + (c - '0');
  return value;
}

std::optional<ValueToken> read_value(std::string_view text) {
  ValueToken token;
  if (text.empty() || text.size() > longest_value) return std::nullopt;
  if (text.front() == '-' || text.front() == '+') {
    token.negative = text.front() == '-';
    text.remove_prefix(1);
  }
  token.whole = take_digits(text);
  if (token.whole.empty()) return std::nullopt;
  while (!token.whole.empty() && token.whole.front() == '0') token.whole.remove_prefix(1);
  if (!text.empty() && text.front() == '.') {
    text.remove_prefix(1);
    token.fraction = take_digits(text);
    if (token.fraction.empty()) return std::nullopt;
    while (!token.fraction.empty() && token.fraction.back() == '0') token.fraction.remove_suffix(1);
  }
  if (text.empty()) return token;
  if (text.front() != 'e' && text.front() != 'E') return std::nullopt;
  text.remove_prefix(1);
  const bool negative = !text.empty() && text.front() == '-';
  if (!text.empty() && (text.front() == '-' || text.front() == '+')) text.remove_prefix(1);
  const auto digits = take_digits(text);
  if (digits.empty() || !text.empty()) return std::nullopt;
  for (const char c : digits) {
    token.exponent = token.exponent * 10 + (c - '0');
    if (token.exponent > largest_value_exponent) return std::nullopt;
  }
  if (negative) token.exponent = -token.exponent;
  return token;
}

Conversion write_quotient(bool negative, Wide numerator, Wide denominator, std::int64_t exponent,
                          const Rounding& rounding) {
  if (denominator != 1) {
    // The denominator holds no 2 and no 5, so the decimals end exactly when it divides the numerator.
    if ((denominator >> 64) == 0 && (numerator >> 64) == 0) {
      const auto small = static_cast<std::uint64_t>(numerator),
                 below = static_cast<std::uint64_t>(denominator);
      if (small % below == 0)
        return write_finite(negative, decimal_digits(Wide{small / below}), exponent, rounding);
    } else if (numerator % denominator == 0) {
      return write_finite(negative, decimal_digits(numerator / denominator), exponent, rounding);
    }
    // A rest below 2^64 times 10^18 fits 128 bits.
    if ((denominator >> 64) == 0) return write_endless(negative, numerator, denominator, exponent, rounding);
    return write_endless(negative, Big(numerator), Big(denominator), exponent, rounding);
  }
  return write_finite(negative, decimal_digits(numerator), exponent, rounding);
}

Conversion write_quotient(bool negative, const Big& numerator, const Big& denominator, std::int64_t exponent,
                          const Rounding& rounding) {
  // Powers of ten in the denominator become part of the exponent; what is left decides whether the decimals
  // end.
  const Big common = greatest_common_divisor(numerator, denominator);
  Big below = denominator / common;
  Big above = numerator / common;
  std::int64_t twos = 0, fives = 0;
  while (below % 2 == 0) {
    below /= 2;
    ++twos;
  }
  while (below % 5 == 0) {
    below /= 5;
    ++fives;
  }
  const auto tens = twos > fives ? twos : fives;
  above *= boost::multiprecision::pow(Big(2), static_cast<unsigned>(tens - twos));
  above *= boost::multiprecision::pow(Big(5), static_cast<unsigned>(tens - fives));
  exponent -= tens;
  if (below == 1) return write_finite(negative, decimal_digits(above), exponent, rounding);
  return write_endless(negative, above, below, exponent, rounding);
}

Conversion write_rounded(bool negative, std::string digits, std::int64_t point, bool more,
                         const Rounding& rounding) {
  const auto keep = static_cast<std::size_t>(rounding.significant);
  if (digits.size() > keep) {
    const char next = digits[keep];
    const bool beyond = more || digits.find_first_not_of('0', keep + 1) != std::string::npos;
    digits.resize(keep);
    const bool up = next > '5' || (next == '5' && (beyond || (digits.back() - '0') % 2 == 1));
    if (up) {
      std::size_t place = keep;
      while (place > 0 && digits[place - 1] == '9') digits[--place] = '0';
      if (place > 0) {
        ++digits[place - 1];
      } else {
        digits.insert(digits.begin(), '1');
        ++point;
      }
    }
  }
  return {plain(negative, digits, point), false};
}

}  // namespace charpie::units
