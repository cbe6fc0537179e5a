// A unit code as a tree, for tests and for looking at its parts: what was written, not what it means.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/table.hpp"

namespace charpie::units {

/// A term is a row of parts, each multiplied or divided in turn; the other kinds are single components.
struct Tree {
  enum Kind { term, number, symbol, annotation };
  Kind kind = term;
  bool divided = false;     // stands after a "/"
  std::string text;         // number: its digits; symbol: its atom; annotation: with its braces
  std::string prefix;       // symbol only
  std::string exponent;     // symbol only: as written, with its sign
  std::string note;         // the annotation that follows, with its braces
  std::vector<Tree> parts;  // term only; a term inside a term was written in parentheses
  bool operator==(const Tree&) const = default;
};

/// The tree of a valid code; nothing for any other text. The outermost node is a term.
std::optional<Tree> read_tree(std::string_view code, const AtomTable& table);

/// The code that the tree stands for: print(read_tree(code)) is code again.
std::string print(const Tree& tree);

/// The tree in one line: kg/s2 is "(term (mul k-g) (div (pow s 2)))".
std::string sketch(const Tree& tree);

}  // namespace charpie::units
