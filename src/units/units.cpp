#include "units/units.hpp"

#include <algorithm>
#include <bitset>

#include "units/reduce.hpp"
#include "units/suggest.hpp"

namespace charpie::units {

namespace {

// Gathers dimension and arbitrary units only, so that no factor can be too large.
struct Measure {
  Dimension dimension;
  ArbitraryPowers arbitrary;
  bool fits = true;
  std::bitset<longest_code + 1> turned;
  std::size_t depth = 0;

  void component(const Component& found) {
    if (found.atom == nullptr) return;
    const bool negative = found.divided != turned[depth];
    const std::int32_t exponent = negative ? -found.exponent : found.exponent;
    const auto& unit = found.atom->unit_reduced;
    dimension.add(unit.dimension, exponent);
    for (std::size_t i = 0; i < unit.arbitrary.count; ++i) {
      fits =
          arbitrary.add(unit.arbitrary.powers[i].atom, unit.arbitrary.powers[i].exponent * exponent) && fits;
    }
  }
  void open(bool divided) {
    const bool inverted = divided != turned[depth];
    turned[++depth] = inverted;
  }
  void close(std::string_view) { --depth; }
};

struct Annotations {
  std::string text;
  void component(const Component& found) {
    text += found.kind == Component::annotation ? found.text : found.note;
  }
  void open(bool) {}
  void close(std::string_view note) { text += note; }
};

std::string product(std::vector<std::pair<std::string_view, std::int32_t>> powers) {
  std::sort(powers.begin(), powers.end());
  std::string text;
  for (const auto& [symbol, exponent] : powers) {
    if (!text.empty()) text += '.';
    text += symbol;
    if (exponent != 1) text += std::to_string(exponent);
  }
  return text.empty() ? "1" : text;
}

}  // namespace

Units::Units(std::shared_ptr<const AtomTable> table, std::shared_ptr<const Slips> slips)
    : table_(std::move(table)), slips_(std::move(slips)) {}

Result<Units> Units::load(const Tables& tables) {
  auto table = AtomTable::load(tables);
  if (!table) return table.error();
  std::shared_ptr<const AtomTable> atoms = std::move(*table);
  auto slips = Slips::load(tables, *atoms);
  if (!slips) return slips.error();
  return Units(std::move(atoms), std::move(*slips));
}

bool Units::valid(std::string_view code) const {
  return !units::validate(code, *table_);
}

Fault Units::validate(std::string_view code) const {
  return units::validate(code, *table_);
}

std::optional<Unit> Units::reduce(std::string_view code) const {
  std::optional<Unit> unit(std::in_place);
  const auto reduction = units::reduce(code, *table_, *unit);
  if (reduction.fault || !reduction.fits) unit.reset();
  return unit;
}

bool Units::measures(std::string_view code, const Dimension& dimension) const {
  Measure measure;
  if (parse(code, *table_, measure)) return false;
  return measure.dimension == dimension && measure.arbitrary.count == 0 && measure.fits;
}

bool Units::measures(std::string_view code, std::string_view dimensions) const {
  Measure measure;
  if (parse(code, *table_, measure) || measure.arbitrary.count != 0 || !measure.fits) return false;
  while (true) {
    const auto bar = dimensions.find('|');
    if (const auto wanted = Dimension::named(dimensions.substr(0, bar));
        wanted && *wanted == measure.dimension)
      return true;
    if (bar == std::string_view::npos) return false;
    dimensions.remove_prefix(bar + 1);
  }
}

bool Units::commensurable(std::string_view a, std::string_view b) const {
  Measure first, second;
  if (parse(a, *table_, first) || parse(b, *table_, second)) return false;
  return first.fits && second.fits && units::commensurable(first, second);
}

Result<Conversion> Units::convert(std::string_view value, std::string_view from, std::string_view to,
                                  const Rounding& rounding) const {
  const auto converter = Converter::between(from, to, *table_);
  if (!converter) return converter.error();
  return converter->convert(value, rounding);
}

Result<Converter> Units::converter(std::string_view from, std::string_view to) const {
  return Converter::between(from, to, *table_);
}

std::string Units::canonical(std::string_view code) const {
  Measure measure;
  if (parse(code, *table_, measure)) return {};
  std::vector<std::pair<std::string_view, std::int32_t>> powers;
  for (const auto& atom : table_->atoms()) {
    if (!atom.base) continue;
    for (std::size_t i = 0; i < Dimension::letters.size(); ++i) {
      const auto exponent = measure.dimension.exponents[i];
      if (exponent != 0 && atom.unit_reduced.dimension.exponents[i] == 1)
        powers.emplace_back(atom.symbol, exponent);
    }
  }
  for (std::size_t i = 0; i < measure.arbitrary.count; ++i) {
    const auto& power = measure.arbitrary.powers[i];
    powers.emplace_back(table_->atoms()[static_cast<std::size_t>(power.atom)].symbol, power.exponent);
  }
  return product(std::move(powers));
}

std::string Units::dimension(std::string_view code) const {
  Measure measure;
  if (parse(code, *table_, measure)) return {};
  return measure.dimension.text();
}

std::string Units::annotations(std::string_view code) const {
  Annotations annotations;
  if (parse(code, *table_, annotations)) return {};
  return annotations.text;
}

std::vector<std::string> Units::suggest(std::string_view code) const {
  return slips_->suggest(code);
}

std::vector<Warning> Units::warnings(std::string_view code) const {
  return slips_->warnings(code);
}

Check Units::check(std::string_view code) const {
  Check check;
  const Fault fault = validate(code);
  check.valid = !fault;
  if (check.valid) {
    check.canonical = canonical(code);
    check.dimension = dimension(code);
    check.warnings = warnings(code);
  } else {
    check.message = describe(fault, code);
    check.suggestions = suggest(code);
  }
  return check;
}

}  // namespace charpie::units
