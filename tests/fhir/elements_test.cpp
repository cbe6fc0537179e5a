// The element tables load and answer; that they say what HL7's definitions say is tests/interop/elements.
#include "fhir/elements.hpp"

#include <doctest/doctest.h>

using namespace charpie;
using fhir::Elements;

TEST_CASE("elements: choice types, companions, content references, bindings") {
  const Tables tables(embedded_tables());
  syntax::Names names;
  const auto r4 = Elements::load(tables, fhir::Version::r4, names);
  REQUIRE_MESSAGE(r4, (r4 ? "" : r4.error().message));
  const auto* observation = r4->type("Observation");
  REQUIRE(observation != nullptr);
  CHECK(observation->kind == fhir::Kind::resource);
  const auto* quantity = observation->member(names.find("valueQuantity"));
  REQUIRE(quantity != nullptr);
  CHECK(quantity->element->path == "Observation.value[x]");
  CHECK(quantity->type->name == "Quantity");
  CHECK(observation->member(names.find("valueAttachment")) == nullptr);
  const auto* companion = observation->member(names.find("_valueString"));
  REQUIRE(companion != nullptr);
  CHECK(companion->companion);
  CHECK(companion->partner == names.find("valueString"));
  // R4, observation.html: a component's reference range is as the observation's.
  CHECK(r4->shape("Observation.component")->member(names.find("referenceRange"))->type->shape ==
        r4->shape("Observation.referenceRange"));
  // R4, datatypes.html#Range: SimpleQuantity has no comparator.
  CHECK(r4->type("Range")->member(names.find("low"))->type->shape->path == "SimpleQuantity");
  const auto* status = observation->member(names.find("status"))->element;
  REQUIRE(status->binding != nullptr);
  CHECK(status->min == 1);
  CHECK(status->binding->contains("entered-in-error"));
  CHECK(!status->binding->contains("completed"));
  CHECK(r4->type("Resource")->abstract);
  CHECK(r4->is_resource_type("Claim"));
  CHECK(!r4->is_resource_type("Wound"));
  CHECK(r4->type("Claim") == nullptr);
}

TEST_CASE("elements: what R5 says otherwise") {
  const Tables tables(embedded_tables());
  syntax::Names names;
  const auto r4 = Elements::load(tables, fhir::Version::r4, names);
  const auto r5 = Elements::load(tables, fhir::Version::r5, names);  // beside R4, over the same names
  REQUIRE_MESSAGE(r5, (r5 ? "" : r5.error().message));
  CHECK(r5->type("Observation")->member(names.find("valueAttachment")) != nullptr);
  CHECK(r5->type("Condition")->member(names.find("clinicalStatus"))->element->min == 1);
  CHECK(r4->type("Condition")->member(names.find("clinicalStatus"))->element->min == 0);
  CHECK(r5->type("Media") == nullptr);
  CHECK(!r5->is_resource_type("Media"));
  CHECK(r5->type("Procedure")->member(names.find("performedDateTime")) == nullptr);
  CHECK(r5->shape("BodyStructure.includedStructure.bodyLandmarkOrientation.distanceFromLandmark") != nullptr);
}

TEST_CASE("elements: a broken table is named with its line") {
  std::vector<TableFile> files{embedded_tables()};
  std::string changed;
  for (auto& file : files) {
    if (file.path != "fhir/elements-r4.csv") continue;
    changed = file.text;
    const auto at = changed.find("Observation.status,code,1,1");
    changed.replace(at, std::string("Observation.status,code,1").size(), "Observation.status,code,x");
    file.text = changed;
  }
  const Tables tables(files);
  syntax::Names names;
  const auto r4 = Elements::load(tables, fhir::Version::r4, names);
  REQUIRE(!r4);
  CHECK(r4.error().kind == Error::mapping_broken);
  CHECK(r4.error().line > 1);
}

TEST_CASE("elements: the clinical status of R5 may be unknown, that of R4 may not") {
  const Tables tables(embedded_tables());
  syntax::Names names;
  const auto r4 = Elements::load(tables, fhir::Version::r4, names);
  const auto r5 = Elements::load(tables, fhir::Version::r5, names);
  REQUIRE(r4);
  REQUIRE(r5);
  const std::string_view system = "http://terminology.hl7.org/CodeSystem/condition-clinical";
  CHECK_FALSE(r4->value_set("condition-clinical")->contains(system, "unknown"));
  CHECK(r5->value_set("condition-clinical")->contains(system, "unknown"));
  CHECK(r5->value_set("condition-clinical")->contains(system, "resolved"));
  CHECK_FALSE(r5->value_set("condition-clinical")->contains("https://invented.example", "resolved"));
}
