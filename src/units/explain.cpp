// The meaning of a code, step by step down to base units.
#include <algorithm>
#include <bitset>

#include "units/decimal_text.hpp"
#include "units/reduce.hpp"
#include "units/suggest.hpp"
#include "units/units.hpp"

namespace charpie::units {

namespace {

// Reads a code aloud: "milli-litre per hour".
struct Reading {
  std::string words;
  std::vector<const Atom*> atoms;
  void component(const Component& found) {
    joint(found.divided);
    if (found.kind == Component::symbol) {
      if (found.prefix != nullptr) words += found.prefix->name + "-";
      words += found.atom->name;
      if (!found.exponent_text.empty()) words += " to the power " + std::to_string(found.exponent);
      if (std::find(atoms.begin(), atoms.end(), found.atom) == atoms.end()) atoms.push_back(found.atom);
    } else {
      words += found.text;
    }
    if (!found.note.empty()) words += " " + std::string(found.note);
  }
  void open(bool divided) {
    joint(divided);
    words += "(";
    first = true;
  }
  void close(std::string_view note) {
    words += ")";
    if (!note.empty()) words += " " + std::string(note);
  }
  void joint(bool divided) {
    if (divided) {
      words += first ? "per " : " per ";
    } else if (!first) {
      words += " times ";
    }
    first = false;
  }
  bool first = true;
};

struct Mentioned {
  std::vector<const Atom*>& atoms;
  void component(const Component& found) {
    if (found.atom != nullptr && std::find(atoms.begin(), atoms.end(), found.atom) == atoms.end())
      atoms.push_back(found.atom);
  }
  void open(bool) {}
  void close(std::string_view) {}
};

std::string definition(const Atom& atom) {
  if (atom.base) return "base unit";
  if (atom.arbitrary && atom.unit == "1") return "arbitrary: compares with itself alone";
  const auto product = atom.unit == "1" ? atom.value : atom.value + " " + atom.unit;
  const auto& function = atom.function;
  switch (function.kind) {
    case SpecialFunction::none:
      return product;
    case SpecialFunction::plus:
      return "(x + " + function.argument + ") times " + product;
    case SpecialFunction::power: {
      std::string exponent = function.exponent_numerator == -1 ? "-x" : "x";
      if (function.exponent_denominator != 1) exponent += "/" + std::to_string(function.exponent_denominator);
      return function.argument + " to the power " + exponent + ", times " + product;
    }
    case SpecialFunction::arctan:
      return "arc tangent of x/" + function.argument + ", times " + product;
    case SpecialFunction::square:
      return "x squared, times " + product;
  }
  return product;
}

// "0.3048", "1/3", "1/180 × pi".
std::string factor_text(RatioOf<Big> factor) {
  factor.reduce();
  if (std::abs(factor.twos) > 400 || std::abs(factor.fives) > 400) return {};
  Big above = factor.numerator, below = factor.denominator;
  std::string text;
  if (below == 1) {
    const auto tens = std::min(factor.twos, factor.fives);
    above <<= static_cast<unsigned>(factor.twos - tens);
    above *= boost::multiprecision::pow(Big(5), static_cast<unsigned>(factor.fives - tens));
    text = write_quotient(false, above, Big(1), tens, Rounding::complete()).text;
  } else {
    (factor.twos < 0 ? below : above) <<= static_cast<unsigned>(std::abs(factor.twos));
    (factor.fives < 0 ? below : above) *=
        boost::multiprecision::pow(Big(5), static_cast<unsigned>(std::abs(factor.fives)));
    text = above.str() + "/" + below.str();
  }
  if (factor.pis == 0) return text;
  text += " × pi";
  if (factor.pis != 1) text += "^" + std::to_string(factor.pis);
  return text;
}

}  // namespace

Result<Explanation> Units::explain(std::string_view code) const {
  Reading reading;
  if (const Fault fault = parse(code, *table_, reading)) {
    return Error{Error::invalid,
                 "`" + std::string(code) + "` is no unit code: " + describe(fault, code),
                 {},
                 0,
                 0,
                 {}};
  }
  Explanation explanation;
  explanation.reading = std::move(reading.words);
  explanation.canonical = canonical(code);
  explanation.dimension = dimension(code);
  UnitOf<Big> unit;
  if (units::reduce(code, *table_, unit).fits && unit.special == nullptr)
    explanation.factor = factor_text(unit.factor);
  // The definitions of what was named, then of what those name, each once.
  auto atoms = std::move(reading.atoms);
  for (std::size_t i = 0; i < atoms.size(); ++i) {
    Mentioned mentioned{atoms};
    if (!atoms[i]->base) (void)parse(atoms[i]->unit, *table_, mentioned);
  }
  for (const Atom* atom : atoms) {
    explanation.steps.push_back(
        {atom->symbol, atom->name, atom->kind, definition(*atom), std::string(slips_->note(atom->symbol))});
  }
  explanation.kind = kind(code);
  return explanation;
}

namespace {

struct OnlySymbol {
  const Atom* atom = nullptr;
  std::size_t components = 0;
  std::int32_t exponent = 1;
  void component(const Component& found) {
    ++components;
    atom = found.atom;
    exponent = found.divided ? -found.exponent : found.exponent;
  }
  void open(bool) { ++components; }
  void close(std::string_view) {}
};

}  // namespace

std::string Units::kind(std::string_view code) const {
  OnlySymbol only;
  if (parse(code, *table_, only)) return {};
  if (only.components == 1 && only.atom != nullptr && only.exponent == 1) return only.atom->kind;
  // A product is called after the first plain atom of the same dimension: kg.m/s2 is a force.
  const auto wanted = Dimension::named(dimension(code));
  if (!wanted || canonical(code).find('[') != std::string::npos) return {};
  if (*wanted == Dimension{}) return "number";
  for (const auto& atom : table_->atoms()) {
    if (atom.function.kind == SpecialFunction::none && !atom.arbitrary &&
        atom.unit_reduced.dimension == *wanted) {
      return atom.kind;
    }
  }
  return {};
}

}  // namespace charpie::units
