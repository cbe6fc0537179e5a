// Strict reading, rule by rule: json.html, element.html, references.html of R4 4.0.1. HL7's own examples are
// read in tests/interop/elements.
#include "fhir/strict.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "fhir/strict_reading.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

using Found = std::vector<std::string>;

// The findings of an R4 Observation with these members beside status and code.
Found observation(const std::string& members) {
  return Strict::of(fhir::Version::r4)
      .find(R"({"resourceType":"Observation","status":"final","code":{"text":"x"})" +
            (members.empty() ? "" : "," + members) + "}");
}
Found r4(const std::string& text) {
  return Strict::of(fhir::Version::r4).find(text);
}

}  // namespace

TEST_CASE("strict: a good instance has no findings") {
  CHECK(observation("") == Found{});
  CHECK(
      observation(
          R"("valueQuantity":{"value":4.00,"unit":"cm","system":"http://unitsofmeasure.org","code":"cm"})") ==
      Found{});
  CHECK(
      observation(
          R"("effectiveDateTime":"2026-03-02","_effectiveDateTime":{"extension":[{"url":"https://invented.example/e","valueBoolean":true}]})") ==
      Found{});
}

TEST_CASE("strict: resource types") {
  CHECK(r4("[]") == Found{"fhir.json-type Resource"});
  CHECK(r4("{}") == Found{"fhir.resource-type Resource"});
  CHECK(r4(R"({"resourceType":7})") == Found{"fhir.resource-type Resource"});
  CHECK(r4(R"({"resourceType":""})") == Found{"fhir.resource-type Resource"});
  CHECK(r4(R"({"resourceType":"Wound"})") == Found{"fhir.resource-type Wound"});
  CHECK(r4(R"({"resourceType":"DomainResource"})") == Found{"fhir.resource-type DomainResource"});
  CHECK(r4(R"({"resourceType":"Quantity","value":1})") == Found{"fhir.resource-type Quantity"});
  CHECK(r4(R"({"resourceType":"Claim"})") == Found{"fhir.type-not-covered Claim"});
  CHECK(r4(R"({"resourceType":"Patient"})") == Found{"fhir.empty Patient"});
}

TEST_CASE("strict: unknown elements") {
  CHECK(observation(R"("wound":1)") == Found{"fhir.unknown-element Observation"});
  CHECK(observation(R"("code2":{"resourceType":"x"})") == Found{"fhir.unknown-element Observation"});
  CHECK(observation(R"("valueAttachment":{"url":"x"})") == Found{"fhir.unknown-element Observation"});
  CHECK(observation(R"("value":1)") == Found{"fhir.unknown-element Observation"});
  CHECK(observation(R"("valueQuantity":{"value":1,"resourceType":"x"})") ==
        Found{"fhir.unknown-element Observation.valueQuantity"});
  CHECK(observation(R"("_subject":{"id":"a"})") == Found{"fhir.unknown-element Observation"});
  CHECK(observation(R"("component":[{"code":{"text":"x"},"status":"final"}])") ==
        Found{"fhir.unknown-element Observation.component[0]"});
}

TEST_CASE("strict: JSON types") {
  CHECK(observation(R"("valueInteger":"1")") == Found{"fhir.json-type Observation.valueInteger"});
  CHECK(observation(R"("valueString":1)") == Found{"fhir.json-type Observation.valueString"});
  CHECK(observation(R"("valueBoolean":"true")") == Found{"fhir.json-type Observation.valueBoolean"});
  CHECK(observation(R"("valueQuantity":{"value":"1"})") ==
        Found{"fhir.json-type Observation.valueQuantity.value"});
  CHECK(observation(R"("category":{"text":"x"})") == Found{"fhir.json-type Observation.category"});
  CHECK(observation(R"("method":[{"text":"x"}])") == Found{"fhir.json-type Observation.method"});
  CHECK(observation(R"("method":"x")") == Found{"fhir.json-type Observation.method"});
  CHECK(observation(R"("note":["x"])") == Found{"fhir.json-type Observation.note[0]"});
  CHECK(observation(R"("contained":[1])") == Found{"fhir.json-type Observation.contained[0]"});
}

TEST_CASE("strict: cardinality") {
  CHECK(r4(R"({"resourceType":"Observation","status":"final"})") == Found{"fhir.missing Observation"});
  CHECK(
      r4(R"({"resourceType":"Observation","code":{"text":"x"},"_status":{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"unknown"}]}})") ==
      Found{});
  CHECK(observation(R"("component":[{"valueInteger":1}])") == Found{"fhir.missing Observation.component[0]"});
  CHECK(observation(R"("extension":[{"valueInteger":1}])") == Found{"fhir.missing Observation.extension[0]"});
  // SimpleQuantity: no comparator (also sqty-1).
  CHECK(observation(R"("referenceRange":[{"low":{"comparator":"<","value":1}}])") ==
        Found{"fhir.cardinality Observation.referenceRange[0].low.comparator",
              "fhir.invariant Observation.referenceRange[0].low"});
}

TEST_CASE("strict: one type of a choice") {
  CHECK(observation(R"("valueInteger":1,"valueString":"1")") ==
        Found{"fhir.choice-twice Observation.valueString"});
  CHECK(observation(
            R"("valueInteger":1,"_valueString":{"id":"a","extension":[{"url":"u","valueInteger":1}]})") ==
        Found{"fhir.choice-twice Observation.valueString"});
  CHECK(observation(R"("_valueString":{"id":"a"},"valueString":"1")") == Found{});
}

TEST_CASE("strict: companions of primitives and null") {
  CHECK(observation(R"("valueString":null)") == Found{"fhir.null Observation.valueString"});
  CHECK(observation(R"("subject":null)") == Found{"fhir.null Observation.subject"});
  CHECK(observation(R"("note":[null])") == Found{"fhir.null Observation.note[0]"});
  CHECK(observation(R"("_valueString":{"id":"a"})") == Found{"fhir.empty Observation.valueString"});
  CHECK(observation(R"("_valueString":{})") == Found{"fhir.empty Observation.valueString"});
  CHECK(observation(R"("valueString":"a","_valueString":"b")") ==
        Found{"fhir.json-type Observation.valueString"});
  CHECK(observation(R"("_valueString":[{"id":"a"}],"valueString":"a")") ==
        Found{"fhir.json-type Observation.valueString"});
  CHECK(observation(R"("_valueString":null,"valueString":"a")") ==
        Found{"fhir.null Observation.valueString"});
  CHECK(observation(R"("_valueString":{"value":1},"valueString":"a")") ==
        Found{"fhir.unknown-element Observation.valueString"});
  const auto names = [](const std::string& members) {
    return r4(R"({"resourceType":"Patient","name":[{)" + members + "}]}");
  };
  const std::string extended = R"({"extension":[{"url":"u","valueInteger":1}]})";
  CHECK(names(R"("given":["a",null],"_given":[null,)" + extended + "]") == Found{});
  CHECK(names(R"("given":["a",null],"_given":[null,{"id":"i"}])") ==
        Found{"fhir.empty Patient.name[0].given[1]"});
  CHECK(names(R"("given":["a",null])") == Found{"fhir.null Patient.name[0].given[1]"});
  CHECK(names(R"("given":["a",null],"_given":[)" + extended + ",null]") ==
        Found{"fhir.null Patient.name[0].given[1]", "fhir.null Patient.name[0].given[1]"});
  CHECK(names(R"("given":["a","b"],"_given":[)" + extended + "]") ==
        Found{"fhir.companion Patient.name[0].given"});
}

TEST_CASE("strict: empty values") {
  CHECK(observation(R"("valueString":"")") == Found{"fhir.empty Observation.valueString"});
  CHECK(observation(R"("note":[])") == Found{"fhir.empty Observation.note"});
  CHECK(observation(R"("method":{})") == Found{"fhir.empty Observation.method"});
  CHECK(observation(R"("subject":{"reference":""})") == Found{"fhir.empty Observation.subject.reference"});
}

TEST_CASE("strict: forms and required bindings") {
  CHECK(observation(R"("id":"a_1")") == Found{"fhir.form Observation.id"});
  CHECK(observation(R"("effectiveDateTime":"2026-02-30")") ==
        Found{"fhir.form Observation.effectiveDateTime"});
  CHECK(observation(R"("issued":"2026-03-02")") == Found{"fhir.form Observation.issued"});
  CHECK(r4(R"({"resourceType":"Observation","status":"done","code":{"text":"x"}})") ==
        Found{"fhir.code-not-in-value-set Observation.status"});
  CHECK(observation(R"("valueQuantity":{"value":1,"comparator":"~"})") ==
        Found{"fhir.code-not-in-value-set Observation.valueQuantity.comparator"});
  const auto condition = [](const std::string& concept_text) {
    return r4(R"({"resourceType":"Condition","subject":{"display":"x"},"clinicalStatus":)" + concept_text +
              "}");
  };
  const std::string system = "http://terminology.hl7.org/CodeSystem/condition-clinical";
  CHECK(condition(R"({"coding":[{"system":")" + system + R"(","code":"active"}]})") == Found{});
  CHECK(condition(R"({"coding":[{"system":")" + system + R"(","code":"healed"}]})") ==
        Found{"fhir.code-not-in-value-set Condition.clinicalStatus"});
  CHECK(condition(R"({"coding":[{"system":"https://invented.example","code":"active"}]})") ==
        Found{"fhir.code-not-in-value-set Condition.clinicalStatus"});
  CHECK(condition(R"({"text":"active"})") == Found{"fhir.code-not-in-value-set Condition.clinicalStatus"});
}

TEST_CASE("strict: references") {
  const auto subject = [](const std::string& reference) {
    return observation(R"("subject":{"reference":")" + reference + "\"}");
  };
  for (const auto* good : {"Patient/1", "Patient/1/_history/2", "https://invented.example/fhir/Patient/1",
                           "Patient?identifier=a|1", "urn:uuid:c757873d-ec9a-4326-a141-556f43239520",
                           "urn:oid:1.2.3", "https://invented.example/other/1"}) {
    CAPTURE(good);
    CHECK(subject(good) == Found{});
  }
  for (const auto* bad : {"1", "patient/1", "Patient/a_1", "Patient/1/_history/a_b", "Wound/1", "Patient/1 ",
                          "urn:uuid:1", "?identifier=1", "Patient/"}) {
    CAPTURE(bad);
    CHECK(subject(bad) == Found{"fhir.reference-form Observation.subject"});
  }
  CHECK(subject("Encounter/1") == Found{"fhir.reference-target Observation.subject"});
  CHECK(subject("https://invented.example/fhir/Encounter/1") ==
        Found{"fhir.reference-target Observation.subject"});
  CHECK(observation(R"("subject":{"type":"Encounter","display":"x"})") ==
        Found{"fhir.reference-target Observation.subject"});
  CHECK(observation(R"("focus":[{"reference":"Claim/1"}])") == Found{});
  CHECK(
      observation(
          R"("contained":[{"resourceType":"Encounter","id":"e","status":"finished","class":{"code":"AMB"}}],"subject":{"reference":"#e"})") ==
      Found{"fhir.reference-target Observation.subject"});
  // R5: the reference inside of a CodeableReference.
  CHECK(
      Strict::of(fhir::Version::r5)
          .find(
              R"({"resourceType":"Procedure","status":"completed","subject":{"display":"x"},"used":[{"reference":{"reference":"Patient/1"}}]})") ==
      Found{"fhir.reference-target Procedure.used[0]"});
}

TEST_CASE("strict: contained resources and entries are read") {
  CHECK(
      observation(
          R"("contained":[{"resourceType":"Patient","id":"p","gender":"x"}],"subject":{"reference":"#p"})") ==
      Found{"fhir.code-not-in-value-set Observation.contained[0].gender"});
  CHECK(
      observation(R"("contained":[{"resourceType":"Patient","gender":"male"}],"subject":{"display":"x"})") ==
      Found{"fhir.missing Observation.contained[0]", "fhir.invariant Observation"});
  const std::string entry =
      R"({"fullUrl":"urn:uuid:c757873d-ec9a-4326-a141-556f43239520","resource":{"resourceType":"Observation","status":"final"}})";
  CHECK(r4(R"({"resourceType":"Bundle","type":"collection","entry":[)" + entry + "]}") ==
        Found{"fhir.missing Bundle.entry[0].resource"});
}

TEST_CASE("strict: a finding names its line, and repeats no text of the instance but codes") {
  const std::string text =
      "{\"resourceType\":\"Patient\",\n\"birthDate\":\"1970-13-01\",\n\"name\":[{\"family\":7}]}";
  Arena arena;
  const auto& strict = Strict::of(fhir::Version::r4);
  const auto root = syntax::read_json(text, arena, strict.names);
  REQUIRE(root);
  const auto found = strict.find(text, **root);
  REQUIRE(found.size() == 2);
  CHECK(found[0].line == 2);
  CHECK(found[0].column == 13);
  CHECK(found[0].message.find("1970") == std::string::npos);
  CHECK(found[1].line == 3);
  CHECK(found[1].path == "Patient.name[0].family");
}

TEST_CASE("strict: a type that the tables do not cover is told once") {
  const std::string claim =
      R"({"resource":{"resourceType":"Claim"}},{"resource":{"resourceType":"Coverage"}})";
  CHECK(r4(R"({"resourceType":"Bundle","type":"collection","entry":[)" + claim + "," + claim + "]}") ==
        Found{"fhir.type-not-covered Bundle.entry[0].resource",
              "fhir.type-not-covered Bundle.entry[1].resource"});
}

TEST_CASE("strict: what is wrong all over is told up to a limit") {
  std::string members;
  for (std::size_t i = 0; i < fhir::StrictReader::most_findings + 500; ++i)
    members += (i == 0 ? "\"wrong" : ",\"wrong") + std::to_string(i) + "\":1";
  const auto found = observation(members);
  REQUIRE(found.size() == fhir::StrictReader::most_findings + 1);
  CHECK(found.front() == "fhir.unknown-element Observation");
  CHECK(found.back() == "fhir.more-not-told Observation");
}

TEST_CASE("strict: advice never hides an error, and a contained resource needs no narrative") {
  const std::string entry =
      R"({"resource":{"resourceType":"Observation","status":"final","code":{"text":"x"}}})";
  std::string entries = entry;
  for (std::size_t i = 0; i < fhir::StrictReader::most_findings + 500; ++i) entries += "," + entry;
  const std::string text =
      R"({"resourceType":"Bundle","type":"collection","entry":[)" + entries + R"(],"wrong":1})";
  const auto& strict = Strict::of(fhir::Version::r4);
  Arena arena;
  const auto root = syntax::read_json(text, arena, strict.names);
  REQUIRE(root);
  const auto all = strict.find(text, **root, true);
  CHECK(all.size() == fhir::StrictReader::most_findings + 2);
  CHECK(std::count_if(all.begin(), all.end(), [](const record::Finding& one) {
          return one.severity >= record::Severity::error;
        }) == 1);
  const std::string contained =
      R"({"resourceType":"Observation","status":"final","code":{"text":"x"},"contained":[{"resourceType":"Patient","id":"p"}],"subject":{"reference":"#p"}})";
  const auto inner = syntax::read_json(contained, arena, strict.names);
  REQUIRE(inner);
  CHECK(strict.find(contained, **inner, true).size() == 1);
}

TEST_CASE("strict: places stay right when findings come out of order") {
  // The missing element is told at the object's begin, after the members.
  const std::string text =
      "{\"resourceType\":\n\"Observation\",\n\"id\":\"a_1\",\n\"subject\":{\"wrong\":1}}";
  Arena arena;
  const auto& strict = Strict::of(fhir::Version::r4);
  const auto root = syntax::read_json(text, arena, strict.names);
  REQUIRE(root);
  std::vector<std::uint32_t> lines;
  for (const auto& one : strict.find(text, **root)) lines.push_back(one.line);
  CHECK(lines == std::vector<std::uint32_t>{3, 4, 1, 1});
}
