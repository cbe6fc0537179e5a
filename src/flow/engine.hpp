// All that conversions rest on, read from the tables once and shared by all workers.
#pragma once
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "fhir/claims.hpp"
#include "flow/form.hpp"
#include "mapping/fixed_units.hpp"
#include "mapping/mapping.hpp"
#include "record/read.hpp"
#include "rules/rules.hpp"
#include "terms/terms.hpp"
#include "units/units.hpp"

namespace charpie::flow {

/// Loaded and proved tables. Read-only afterwards, safe to share between threads; stays in its place because
/// its parts refer to each other.
class Engine {
 public:
  /// `tables` must outlive the engine. `site_rules` is the text of a site's own rules (rules/rules.hpp),
  /// `site_file` its name in messages; `wanted` are the forms whose mappings are loaded: none other can be
  /// asked for later. `claim` names profiles to be claimed (fhir/claims.csv); empty: none.
  /// Error::mapping_broken with file, line and mend; Error::usage for the site's own rules.
  static Result<std::unique_ptr<Engine>> load(const Tables& tables, std::string_view site_rules = {},
                                              std::string_view site_file = {},
                                              std::span<const Wanted> wanted = {},
                                              std::string_view claim = {});
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  const terms::Terms& terms() const { return terms_; }
  const units::Units& units() const { return units_; }
  /// The mapping of a form that was wanted; of FHIR R4 when the engine was loaded without naming any.
  const mapping::Mapping& mapping(const Form& form = fhir_r4_form()) const {
    return *mappings_.at(form.shape);
  }
  /// HL7's elements in the version of a form that was wanted for reading, or is XML; else nullptr.
  const fhir::Elements* elements(const Form& form) const {
    const auto known = elements_.find(form.shape);
    return known == elements_.end() ? nullptr : known->second.get();
  }
  /// What the claimed profiles ask; nullptr when none is claimed.
  const fhir::Claims* claims() const { return claims_ ? &*claims_ : nullptr; }
  /// How input of a form that was wanted is cut.
  Cut cut(const Form& form) const { return {form.syntax, form.is_site ? &mapping(form).layout() : nullptr}; }
  const rules::RuleBook& rules() const { return *rules_; }
  const record::RecordReader& records() const { return records_; }

 private:
  Engine(terms::Terms terms, units::Units units) : terms_(std::move(terms)), units_(std::move(units)) {}
  terms::Terms terms_;
  units::Units units_;
  std::unique_ptr<mapping::FixedUnits> fixed_units_;
  std::optional<fhir::Claims> claims_;
  std::map<std::string_view, std::unique_ptr<mapping::Mapping>> mappings_;  // by shape
  std::map<std::string_view, std::unique_ptr<fhir::Elements>> elements_;    // by shape
  std::unique_ptr<rules::RuleBook> rules_;
  record::RecordReader records_;
};

}  // namespace charpie::flow
