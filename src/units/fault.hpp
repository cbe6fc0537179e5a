// Why a text is no unit code, and where; told in words only when somebody asks.
#pragma once
#include <cstddef>
#include <string>
#include <string_view>

namespace charpie::units {

/// One row a reason in fault.cpp, in this order.
enum class Reason : unsigned char {
  none,
  missing,
  too_long,
  character,
  unknown_symbol,
  number_and_unit,
  decimal_number,
  prefix_not_allowed,
  caret,
  star,
  exponent_on_number,
  exponent_on_parentheses,
  exponent_too_large,
  leading_sign,
  zero,
  missing_operand,
  missing_operator,
  slash_in_parentheses,
  unclosed_parenthesis,
  stray_parenthesis,
  unclosed_bracket,
  stray_bracket,
  unclosed_annotation,
  stray_brace,
  two_annotations,
};

/// Bytes [position, position + length) of the code are at fault. `none` is no fault.
struct Fault {
  Reason reason = Reason::none;
  std::size_t position = 0;
  std::size_t length = 0;
  explicit operator bool() const { return reason != Reason::none; }
};

/// The fault in words, with the place: "`3cm` at 1: a number and a unit need a dot: `3.cm`".
/// Quotes the code, which is a unit and names no patient.
std::string describe(const Fault& fault, std::string_view code);

}  // namespace charpie::units
