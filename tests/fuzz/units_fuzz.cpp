// Any bytes as a unit code, as a slip, and as value, from and to: no crash, no overflow, and the laws hold.
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "base/tables.hpp"
#include "units/tree.hpp"
#include "units/units.hpp"

namespace {

const charpie::units::Units& engine() {
  static const auto units = *charpie::units::Units::load(charpie::Tables(charpie::embedded_tables()));
  return units;
}

void expect(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto& units = engine();
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto first = text.find('\t');
  if (first == std::string_view::npos) {
    const auto fault = units.validate(text);
    expect(fault.position + fault.length <= text.size() || text.size() > 255);
    const auto tree = charpie::units::read_tree(text, units.table());
    expect(tree.has_value() == !fault);
    if (tree) expect(charpie::units::print(*tree) == text);
    const auto check = units.check(text);
    expect(check.valid == !fault);
    expect(check.message.empty() == check.valid);
    for (const auto& suggestion : check.suggestions) expect(units.valid(suggestion));
    if (check.valid) {
      // Written out, an exponent or the whole may be beyond what a code may have.
      if (units.valid(check.canonical)) expect(units.canonical(check.canonical) == check.canonical);
      expect(units.commensurable(text, text));
      expect(bool(units.explain(text)));
    }
    return 0;
  }
  const auto second = text.find('\t', first + 1);
  if (second == std::string_view::npos) return 0;
  const auto value = text.substr(0, first), from = text.substr(first + 1, second - first - 1),
             to = text.substr(second + 1);
  const auto result = units.convert(value, from, to);
  const auto complete = units.convert(value, from, to, charpie::units::Rounding::complete());
  expect(bool(result) == bool(complete));
  if (result) {
    expect(units.commensurable(from, to));
    expect(!result->text.empty());
    if (result->exact) expect(complete->exact && result->text == complete->text);
    // The value converted to its own unit is itself, written shortest.
    const auto same = units.convert(value, to, to, charpie::units::Rounding::complete());
    if (same && same->exact && same->text.size() < 300) {
      const auto again = units.convert(same->text, to, to, charpie::units::Rounding::complete());
      expect(again && again->text == same->text);
    }
  }
  return 0;
}
