// All that conversions rest on, read from the tables once and shared by all workers.
#pragma once
#include <memory>
#include <string>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "mapping/fixed_units.hpp"
#include "mapping/mapping.hpp"
#include "record/read.hpp"
#include "rules/rules.hpp"
#include "terms/terms.hpp"
#include "units/units.hpp"

namespace charpie::flow {

/// Loaded and proved tables. Read-only afterwards, safe to share between threads; stays in its place because its
/// parts refer to each other.
class Engine {
 public:
  /// `tables` must outlive the engine. `site_rules` is the text of a site's own rules (rules/rules.hpp), `site_file`
  /// its name in messages. Error::mapping_broken with file, line and mend; Error::usage for the site's own rules.
  static Result<std::unique_ptr<Engine>> load(const Tables& tables, std::string_view site_rules = {},
                                              std::string_view site_file = {});
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  const terms::Terms& terms() const { return terms_; }
  const units::Units& units() const { return units_; }
  const mapping::Mapping& fhir() const { return *fhir_; }
  const rules::RuleBook& rules() const { return *rules_; }
  const record::RecordReader& records() const { return records_; }

 private:
  Engine(terms::Terms terms, units::Units units) : terms_(std::move(terms)), units_(std::move(units)) {}
  terms::Terms terms_;
  units::Units units_;
  std::unique_ptr<mapping::FixedUnits> fixed_units_;
  std::unique_ptr<mapping::Mapping> fhir_;
  std::unique_ptr<rules::RuleBook> rules_;
  record::RecordReader records_;
};

}  // namespace charpie::flow
