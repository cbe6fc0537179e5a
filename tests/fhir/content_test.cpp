// What a reviewer asks beyond structure. Each check has its case and the nearest good one.
#include "fhir/content.hpp"

#include <doctest/doctest.h>

#include <set>
#include <string>

#include "base/tables.hpp"
#include "syntax/json.hpp"

using namespace charpie;

namespace {

struct Checks {
  Tables tables{embedded_tables()};
  terms::Terms terms = std::move(terms::Terms::load(tables)).value();
  units::Units units = std::move(units::Units::load(tables)).value();
  fhir::ContentChecks checks{terms, units};
};

// "slug path" of each finding.
std::set<std::string> told(std::string_view json) {
  static const Checks made;
  Arena arena;
  const syntax::Names names;
  auto tree = syntax::read_json(json, arena, names);
  REQUIRE(tree);
  record::Findings findings;
  findings.begin("a.json", {}, json, 1);
  made.checks.read(**tree, findings);
  std::set<std::string> all;
  for (const auto& one : findings.all())
    all.insert(std::string(record::finding_kind(one.id).slug) + " " + one.path);
  return all;
}

using Told = std::set<std::string>;

std::string quantity(std::string_view unit, std::string_view code) {
  return R"({"resourceType":"Observation","valueQuantity":{"value":4,"unit":")" + std::string(unit) +
         R"(","system":"http://unitsofmeasure.org","code":")" + std::string(code) + R"("}})";
}

std::string coding(std::string_view system, std::string_view code, std::string_view display) {
  return R"({"resourceType":"Observation","code":{"coding":[{"system":")" + std::string(system) +
         R"(","code":")" + std::string(code) + R"(","display":")" + std::string(display) + R"("}]}})";
}

}  // namespace

TEST_CASE("the unit's text must not be another unit than its code") {
  const std::string at = "Observation.valueQuantity.unit";
  // HL7 lower-extremity wound guide, 2020, bed example: "cm2" beside %.
  CHECK(told(quantity("cm2", "%")) == Told{"fhir.unit-differs " + at});
  CHECK(told(quantity("mm", "cm")) == Told{"fhir.unit-differs " + at});
  CHECK(told(quantity("cm", "cm")).empty());
  CHECK(told(quantity("percent", "%")).empty());
  CHECK(told(quantity("centimetres", "cm")).empty());
  CHECK(told(quantity("mL", "cm3")).empty());     // the same volume
  CHECK(told(quantity("in", "[in_i]")).empty());  // what people write for inches
  CHECK(told(quantity("inch", "inch")) == Told{"fhir.unit-not-ucum Observation.valueQuantity.code"});
}

TEST_CASE("a code whose check digit is wrong is told, an expression is none") {
  const std::string at = "fhir.check-digit Observation.code.coding[0].code";
  CHECK(told(coding("http://loinc.org", "39126-8", "Length of Wound")).empty());
  CHECK(told(coding("http://loinc.org", "39126-9", "Length of Wound")) == Told{at});
  CHECK(told(coding("http://snomed.info/sct", "182531007", "Dressing of wound")).empty());
  CHECK(told(coding("http://snomed.info/sct", "182531070", "Dressing of wound")) == Told{at});
  // The same guide puts expressions into codes.
  CHECK(told(coding("http://snomed.info/sct", "416462003:{258214002=258215001}", "Stage 1")).empty());
}

TEST_CASE("a display that says another thing than the code is told") {
  CHECK(told(coding("http://loinc.org", "39126-8", "Width of Wound")) ==
        Told{"fhir.display-differs Observation.code.coding[0].display"});
  CHECK(told(coding("http://loinc.org", "39126-8", "LENGTH OF WOUND")).empty());
  CHECK(told(coding("http://loinc.org", "8867-4", "Heart rate")).empty());  // not in our tables: not judged
}

TEST_CASE("references that lead nowhere and identifiers used twice are told") {
  const auto bundle = [](std::string_view target, std::string_view second,
                         std::string_view type = "collection") {
    return R"({"resourceType":"Bundle","type":")" + std::string(type) +
           R"(","entry":[{"fullUrl":"urn:uuid:a","resource":{"resourceType":"Observation","identifier":[{"system":"s","value":"1"}],)"
           R"("subject":{"reference":")" +
           std::string(target) +
           R"("}}},{"fullUrl":"urn:uuid:b","resource":{"resourceType":"Observation","identifier":[{"system":"s","value":")" +
           std::string(second) + R"("}]}}]})";
  };
  CHECK(told(bundle("urn:uuid:b", "2")).empty());
  CHECK(told(bundle("Patient/elsewhere", "2")).empty());
  CHECK(told(bundle("urn:uuid:c", "2")) ==
        Told{"fhir.reference-unresolved Bundle.entry[0].resource.subject.reference"});
  CHECK(told(bundle("urn:uuid:b", "1")) == Told{"fhir.identifier-twice Bundle.entry[1].resource.identifier"});
  CHECK(told(bundle("urn:uuid:b", "1", "history")).empty());  // versions of one thing
}
