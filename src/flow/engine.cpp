#include "flow/engine.hpp"

namespace charpie::flow {

Result<std::unique_ptr<Engine>> Engine::load(const Tables& tables, std::string_view site_rules,
                                             std::string_view site_file) {
  auto terms = terms::Terms::load(tables);
  if (!terms) return terms.error();
  auto units = units::Units::load(tables);
  if (!units) return units.error();
  std::unique_ptr<Engine> engine(new Engine(std::move(*terms), std::move(*units)));
  auto fixed_units = mapping::FixedUnits::load(tables, engine->units_);
  if (!fixed_units) return fixed_units.error();
  engine->fixed_units_ = std::make_unique<mapping::FixedUnits>(std::move(*fixed_units));
  auto fhir = mapping::Mapping::load(tables, engine->terms_, *engine->fixed_units_);
  if (!fhir) return fhir.error();
  engine->fhir_ = std::move(*fhir);
  auto rules = rules::RuleBook::load(tables, engine->terms_, engine->units_, site_rules, site_file);
  if (!rules) return rules.error();
  engine->rules_ = std::make_unique<rules::RuleBook>(std::move(*rules));
  return engine;
}

}  // namespace charpie::flow
