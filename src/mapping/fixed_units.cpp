#include "mapping/fixed_units.hpp"

#include "syntax/csv.hpp"

namespace charpie::mapping {

Result<FixedUnits> FixedUnits::load(const Tables& tables, const units::Units& units) {
  static constexpr std::string_view path = "fhir/fixed-units.csv";
  const auto* text = tables.find(path);
  if (text == nullptr)
    return Error{Error::mapping_broken, "there is no table of fixed units", std::string(path)};
  auto table = syntax::read_csv_table(*text, path);
  if (!table) return table.error();
  FixedUnits fixed;
  fixed.units_ = &units;
  for (const auto& row : table->rows) {
    const auto fault = [&](std::string message, std::string mend) {
      return Error{Error::mapping_broken, std::move(message), std::string(path), row.line, 0,
                   std::move(mend)};
    };
    Row made{std::string(table->cell(row, "dimension")), std::string(table->cell(row, "unit")), {}};
    if (!units.measures(made.unit, made.dimension)) {
      return fault("'" + made.unit + "' does not measure " + made.dimension,
                   "name a UCUM code of that dimension");
    }
    std::string_view common = table->cell(row, "common");
    while (!common.empty()) {
      const auto space = common.find(' ');
      const auto from = common.substr(0, space);
      common = space == std::string_view::npos ? std::string_view{} : common.substr(space + 1);
      if (from.empty()) continue;
      auto converter = units.converter(from, made.unit);
      if (!converter)
        return fault("'" + std::string(from) + "' cannot be told in " + made.unit, converter.error().message);
      made.common.emplace_back(std::string(from), std::move(*converter));
    }
    fixed.rows_.push_back(std::move(made));
  }
  return fixed;
}

bool FixedUnits::convert(const record::Quantity& quantity, std::string_view dimensions, std::string& value,
                         std::string_view& unit, bool& rounded) const {
  if (quantity.unit.empty() || quantity.value.empty()) return false;
  const auto use = [&](const Row& row, const units::Converter& converter) {
    auto result = converter.convert(quantity.value);
    if (!result) return false;
    value = std::move(result->text);
    rounded = !result->exact;
    unit = row.unit;
    return true;
  };
  while (!dimensions.empty()) {
    const auto bar = dimensions.find('|');
    const auto dimension = dimensions.substr(0, bar);
    dimensions = bar == std::string_view::npos ? std::string_view{} : dimensions.substr(bar + 1);
    for (const auto& row : rows_) {
      if (row.dimension != dimension) continue;
      if (row.unit == quantity.unit) return false;
      for (const auto& [from, converter] : row.common) {
        if (from == quantity.unit) return use(row, converter);
      }
      auto converter = units_->converter(quantity.unit, row.unit);
      if (converter) return use(row, *converter);
    }
  }
  return false;
}

}  // namespace charpie::mapping
