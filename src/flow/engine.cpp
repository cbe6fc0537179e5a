#include "flow/engine.hpp"

namespace charpie::flow {

Result<std::unique_ptr<Engine>> Engine::load(const Tables& tables, std::string_view site_rules,
                                             std::string_view site_file, std::span<const Wanted> wanted,
                                             std::string_view claim) {
  auto terms = terms::Terms::load(tables);
  if (!terms) return terms.error();
  auto units = units::Units::load(tables);
  if (!units) return units.error();
  std::unique_ptr<Engine> engine(new Engine(std::move(*terms), std::move(*units)));
  auto fixed_units = mapping::FixedUnits::load(tables, engine->units_);
  if (!fixed_units) return fixed_units.error();
  engine->fixed_units_ = std::make_unique<mapping::FixedUnits>(std::move(*fixed_units));
  if (!claim.empty()) {
    auto claims = fhir::Claims::load(tables, claim);
    if (!claims) return claims.error();
    engine->claims_ = std::move(*claims);
  }
  const auto alone = engine->claims_ ? engine->claims_->alone() : std::set<std::string, std::less<>>{};
  const Wanted most_used[] = {{&fhir_r4_form()}};
  for (const auto& [form, reads] : wanted.empty() ? std::span<const Wanted>(most_used) : wanted) {
    if (form->is_record()) continue;
    auto& mapping = engine->mappings_[form->shape];
    if (mapping == nullptr) {
      const Tables& holding = form->tables == nullptr ? tables : *form->tables;
      auto loaded = mapping::Mapping::load(holding, engine->terms_, *engine->fixed_units_, form->folder,
                                           form->shape, alone);
      if (!loaded) return loaded.error();
      mapping = std::move(*loaded);
    }
    if (form->is_site) continue;
    auto& elements = engine->elements_[form->shape];
    if (elements == nullptr && (reads || form->syntax == Syntax::xml)) {
      auto loaded = fhir::Elements::load(tables, form->version, mapping->open_names());
      if (!loaded) return loaded.error();
      elements = std::make_unique<fhir::Elements>(std::move(*loaded));
    }
    if (!reads && form->syntax == Syntax::xml) mapping->lay_out_in_xml(*elements);
  }
  auto rules = rules::RuleBook::load(tables, engine->terms_, engine->units_, site_rules, site_file);
  if (!rules) return rules.error();
  engine->rules_ = std::make_unique<rules::RuleBook>(std::move(*rules));
  return engine;
}

}  // namespace charpie::flow
