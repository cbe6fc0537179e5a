// The units that --units fixed sends: one a dimension (mappings/fhir/fixed-units.csv). The charted unit
// travels beside them.
#pragma once
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "record/record.hpp"
#include "units/units.hpp"

namespace charpie::mapping {

class FixedUnits {
 public:
  /// `units` must outlive this. Error::mapping_broken for a dimension or unit that does not exist or does not
  /// fit.
  static Result<FixedUnits> load(const Tables& tables, const units::Units& units);

  const units::Units& units() const { return *units_; }
  /// What a quantity becomes in its dimension's fixed unit. False when there is nothing to convert: the
  /// dimension has no fixed unit, the quantity is in it already, or its unit or value cannot be converted.
  /// `rounded` says that the result did not end and was rounded half-even. `unit` views into this.
  bool convert(const record::Quantity& quantity, std::string_view dimensions, std::string& value,
               std::string_view& unit, bool& rounded) const;

 private:
  struct Row {
    std::string dimension;
    std::string unit;
    std::vector<std::pair<std::string, units::Converter>> common;
  };
  std::vector<Row> rows_;
  const units::Units* units_ = nullptr;
};

}  // namespace charpie::mapping
