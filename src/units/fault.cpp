#include "units/fault.hpp"

#include <iterator>

#include "units/parse.hpp"

namespace charpie::units {

namespace {

// In the order of Reason. {} stands for the text at fault.
constexpr std::string_view texts[] = {
    "",
    "missing unit: the code is empty",
    "a unit code has at most 255 characters",
    "this character cannot stand in a unit code: only visible ASCII without blanks (UCUM 3.1)",
    "no unit of this symbol",
    "a number and a unit need a dot",
    "a decimal number cannot stand in a unit code: put it in the value",
    "this unit takes no prefix (UCUM 11)",
    "exponents are written without ^",
    "a product is written with a dot, not with *",
    "a number takes no exponent; powers of ten are written 10*",
    "an exponent cannot follow a parenthesis; write the exponent at each unit inside",
    "exponents beyond 9999 are not supported",
    "a code cannot begin with a sign",
    "zero is no factor of a unit",
    "a unit is missing here",
    "an operator, `.` or `/`, is missing here",
    "`/` cannot follow `(` directly",
    "this parenthesis is not closed",
    "this parenthesis closes nothing",
    "this bracket is not closed",
    "this bracket closes nothing",
    "this annotation is not closed",
    "this brace closes nothing",
    "one annotation a unit; two stand in a row",
};
static_assert(std::size(texts) == static_cast<std::size_t>(Reason::two_annotations) + 1);

std::string without(std::string_view text, char unwanted) {
  std::string kept;
  for (const char c : text) {
    if (c != unwanted) kept += c;
  }
  return kept;
}

// How the text at fault is rightly written, where that follows from the reason alone.
std::string remedy(const Fault& fault, std::string_view piece, bool divided) {
  switch (fault.reason) {
    case Reason::number_and_unit: {
      std::size_t digits = 0;
      while (digits < piece.size() && piece[digits] >= '0' && piece[digits] <= '9') ++digits;
      const auto product = std::string(piece.substr(0, digits)) + "." + std::string(piece.substr(digits));
      return divided ? "(" + product + ")" : product;  // g/24.h would be g.h/24 (UCUM 7.4)
    }
    case Reason::caret:
      return without(piece, '^');
    default:
      return {};
  }
}

}  // namespace

std::string describe(const Fault& fault, std::string_view code) {
  if (!fault) return {};
  std::string text;
  if (fault.reason != Reason::missing && fault.reason != Reason::too_long) {
    const auto piece = code.substr(fault.position, fault.length);
    if (!piece.empty()) text += "`" + std::string(piece) + "` ";
    text += "at " + std::to_string(fault.position + 1) + ": ";
    text += texts[static_cast<std::size_t>(fault.reason)];
    const bool divided = fault.position > 0 && code[fault.position - 1] == '/';
    if (const auto right = remedy(fault, piece, divided); !right.empty()) text += ": `" + right + "`";
    return text;
  }
  return std::string(texts[static_cast<std::size_t>(fault.reason)]);
}

}  // namespace charpie::units
