// Check digits: they tell a mistyped code from a well-formed one, not what the code means.
#include <array>

#include "terms/terms.hpp"

namespace charpie::terms {

namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

// Verhoeff (1969): multiplication in the dihedral group of order 10, and the position permutation's first
// row; its n-th row is the first applied n times. SNOMED CT Release File Specification, "Check-digit".
constexpr std::array<std::array<int, 10>, 10> group = {{{0, 1, 2, 3, 4, 5, 6, 7, 8, 9},
                                                        {1, 2, 3, 4, 0, 6, 7, 8, 9, 5},
                                                        {2, 3, 4, 0, 1, 7, 8, 9, 5, 6},
                                                        {3, 4, 0, 1, 2, 8, 9, 5, 6, 7},
                                                        {4, 0, 1, 2, 3, 9, 5, 6, 7, 8},
                                                        {5, 9, 8, 7, 6, 0, 4, 3, 2, 1},
                                                        {6, 5, 9, 8, 7, 1, 0, 4, 3, 2},
                                                        {7, 6, 5, 9, 8, 2, 1, 0, 4, 3},
                                                        {8, 7, 6, 5, 9, 3, 2, 1, 0, 4},
                                                        {9, 8, 7, 6, 5, 4, 3, 2, 1, 0}}};
constexpr std::array<int, 10> permutation = {1, 5, 7, 6, 2, 8, 3, 0, 9, 4};

}  // namespace

bool loinc_check_digit(std::string_view code) {
  const auto dash = code.size() < 2 ? std::string_view::npos : code.size() - 2;
  if (dash == std::string_view::npos || dash == 0 || code[dash] != '-' || !is_digit(code.back()))
    return false;
  const std::string_view body = code.substr(0, dash);
  const std::string_view digits = body.starts_with("LA") ? body.substr(2) : body;
  if (digits.empty() || digits.size() > 7) return false;
  for (const char c : digits) {
    if (!is_digit(c)) return false;
  }
  // LOINC Users' Guide, appendix on the Mod 10 check digit: every second digit from the right is doubled and
  // its digits added. A letter counts as its distance from '0', which fits the answer codes; no rule is
  // published for them.
  int sum = 0;
  bool doubled = true;
  for (std::size_t i = body.size(); i-- > 0; doubled = !doubled) {
    const int value = body[i] - '0';
    sum += doubled ? 2 * value - value / 5 * 9 : value;
  }
  return (10 - sum % 10) % 10 == code.back() - '0';
}

bool sct_check_digit(std::string_view code) {
  if (code.size() < 6 || code.size() > 18 || code.front() == '0') return false;
  int check = 0;
  for (std::size_t i = 0; i < code.size(); ++i) {
    const char c = code[code.size() - 1 - i];
    if (!is_digit(c)) return false;
    int digit = c - '0';
    for (std::size_t turn = 0; turn < i % 8; ++turn) digit = permutation[static_cast<std::size_t>(digit)];
    check = group[static_cast<std::size_t>(check)][static_cast<std::size_t>(digit)];
  }
  return check == 0;
}

}  // namespace charpie::terms
