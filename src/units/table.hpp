// The tables of unit atoms and prefixes, read from mappings/units/ and reduced to base units once.
#pragma once
#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "units/symbol.hpp"
#include "units/unit.hpp"

namespace charpie::units {

/// The function of a special unit: base-unit amount m = f(x) of one corresponding unit (UCUM 21-23).
struct SpecialFunction {
  enum Kind { none, plus, power, arctan, square };
  Kind kind = none;
  std::string argument;        // plus: the offset; power: the base, a whole number or e; arctan: the scale
  int exponent_numerator = 1;  // power: base to the x times this fraction
  int exponent_denominator = 1;
  bool operator==(const SpecialFunction&) const = default;
};

/// One unit atom. Owned by its table; never changed after loading.
struct Atom {
  std::string symbol;  // case-sensitive code
  std::string ci;      // its code in the case-insensitive set (UCUM 3.4)
  std::string value;   // the defining value as written, "pi" for the number pi
  std::string unit;    // the defining unit; empty for a base unit
  std::string kind;    // what it measures, our own words
  std::string name;    // our own English name
  bool metric = false;
  bool arbitrary = false;
  bool base = false;
  bool number = false;  // ten, for powers of ten: scales a special unit without being algebra
  SpecialFunction function;
  Unit unit_reduced;  // for a special atom: the corresponding unit
};

/// A prefix is a power of two times a power of five, which covers the decimal and the binary ones.
struct Prefix {
  std::string symbol;
  std::string ci;
  std::string name;
  std::int32_t twos = 0;
  std::int32_t fives = 0;
};

/// A symbol taken apart. `atom` is nullptr when nothing is known of it.
struct Lookup {
  const Prefix* prefix = nullptr;
  const Atom* atom = nullptr;
  bool prefix_refused = false;  // prefix and atom are known, but the atom is not metric
};

class AtomTable {
 public:
  /// Reads units/atoms.csv and units/prefixes.csv. Error::mapping_broken with file and line when a row cannot
  /// be understood, a definition is circular or names an unknown unit, or a factor does not fit 128 bits.
  static Result<std::unique_ptr<const AtomTable>> load(const Tables& tables);

  const std::vector<Atom>& atoms() const { return atoms_; }
  const std::vector<Prefix>& prefixes() const { return prefixes_; }

  const Atom* find(Symbol symbol) const {
    for (std::size_t slot = symbol.hash() & slot_mask;; slot = (slot + 1) & slot_mask) {
      if (slots_[slot].atom < 0) return nullptr;
      if (slots_[slot].symbol == symbol) return &atoms_[static_cast<std::size_t>(slots_[slot].atom)];
    }
  }

  /// The atom, or prefix and metric atom, of that symbol. No symbol splits two ways (tests/units proves it).
  Lookup look_up(std::string_view text) const {
    Lookup found;
    if (text.size() > Symbol::longest + 2) return found;
    if (text.size() <= Symbol::longest) {
      const Symbol symbol(text);
      if ((found.atom = find(symbol)) != nullptr) return found;
      const auto first = static_cast<unsigned char>(text[0]);
      if (text.size() > 1 && first < 128 && one_letter_[first] >= 0) {
        if (try_prefix(found, one_letter_[first], symbol.without(1))) return found;
      }
      if (text.size() > 2 && first < 128 && two_letters_[first] >= 0)
        look_up_two_letters(found, text, symbol.without(2));
      return found;
    }
    look_up_long(found, text);
    return found;
  }

 private:
  static constexpr std::size_t slot_count = 2048;
  static constexpr std::size_t slot_mask = slot_count - 1;
  struct Slot {
    Symbol symbol;
    std::int32_t atom = -1;
  };

  bool try_prefix(Lookup& found, std::int32_t prefix, Symbol rest) const {
    const Atom* atom = find(rest);
    if (atom == nullptr) return false;
    found.atom = atom;
    found.prefix = &prefixes_[static_cast<std::size_t>(prefix)];
    found.prefix_refused = !atom->metric;
    return atom->metric;
  }
  void look_up_two_letters(Lookup& found, std::string_view text, Symbol rest) const;
  void look_up_long(Lookup& found, std::string_view text) const;
  Outcome read_prefixes(const Tables& tables);
  Outcome read_atoms(const Tables& tables);
  Outcome resolve(std::size_t atom, std::vector<char>& state, const std::vector<std::size_t>& lines);

  std::vector<Atom> atoms_;
  std::vector<Prefix> prefixes_;
  std::vector<Slot> slots_;
  std::array<std::int16_t, 128> one_letter_{};   // by first byte: place in prefixes_, or -1
  std::array<std::int16_t, 128> two_letters_{};  // by first byte: the first prefix of two bytes, or -1
};

}  // namespace charpie::units
