#include "flow/form.hpp"

namespace charpie::flow {

namespace {

constexpr Form rows[] = {
    {"record", "", Syntax::json},
    {"fhir-r4", "fhir-r4", Syntax::json},
    {"fhir-r4-xml", "fhir-r4", Syntax::xml, fhir::Version::r4},
    {"fhir-r4b", "fhir-r4b", Syntax::json, fhir::Version::r4},
    {"fhir-r4b-xml", "fhir-r4b", Syntax::xml, fhir::Version::r4},
    {"fhir-r5", "fhir-r5", Syntax::json, fhir::Version::r5},
    {"fhir-r5-xml", "fhir-r5", Syntax::xml, fhir::Version::r5},
};

}  // namespace

std::span<const Form> forms() { return rows; }
const Form& record_form() { return rows[0]; }
const Form& fhir_r4_form() { return rows[1]; }

const Form* find_form(std::string_view name) {
  for (const auto& one : rows) {
    if (one.name == name) return &one;
  }
  return nullptr;
}

std::string form_names() {
  std::string names;
  for (const auto& one : rows) names.append(names.empty() ? "" : ", ").append(one.name);
  return names;
}

}  // namespace charpie::flow
