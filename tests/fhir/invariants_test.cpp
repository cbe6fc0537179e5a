// HL7's invariants: each has a case that breaks it and the nearest one that keeps it
// (cases/invariants.ndjson, our own). The keys are those of HL7's definitions, by the element tables.
#include "fhir/invariants.hpp"

#include <doctest/doctest.h>

#include <fstream>
#include <iterator>
#include <set>
#include <sstream>

#include "fhir/strict_reading.hpp"

using namespace charpie;
using namespace charpie::tests;
using fhir::Version;

namespace {

std::string cases_text() {
  std::ifstream in(std::string(CHARPIE_SOURCE_DIR) + "/tests/fhir/cases/invariants.ndjson", std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// The keys that a version's tables name, with the place where they stand.
std::set<std::pair<std::string, std::string>> keys_of(Version version) {
  std::set<std::pair<std::string, std::string>> keys;
  for (const auto& shape : Strict::of(version).elements->shapes()) {
    const auto add = [&](const auto& list, std::string_view path) {
      for (const auto key : list) keys.emplace(key, path);
    };
    add(shape->invariants, shape->path);
    add(shape->warnings, shape->path);
    for (const auto& element : shape->elements) {
      add(element.invariants, element.path);
      add(element.warnings, element.path);
    }
  }
  return keys;
}

}  // namespace

TEST_CASE("every invariant of the tables is checked, or listed with the reason why not") {
  std::set<std::string_view> reached, excused;
  for (const auto version : {Version::r4, Version::r5}) {
    const auto bit = version == Version::r4 ? fhir::Rule::r4 : fhir::Rule::r5;
    const auto keys = keys_of(version);
    CHECK(keys.size() > 50);
    for (const auto& one : keys) {
      const auto& key = one.first;
      const auto& path = one.second;
      CAPTURE(key);
      CAPTURE(path);
      int checked = 0;
      for (const auto& rule : fhir::rules())
        checked += rule.key == key && rule.path == path && (rule.versions & bit) != 0;
      for (const auto& rule : fhir::unchecked_rules())
        checked += rule.key == key && rule.path == path && !rule.reason.empty();
      CHECK(checked == 1);
    }
    for (const auto& rule : fhir::rules()) {
      if ((rule.versions & bit) == 0) continue;
      CAPTURE(rule.key);
      CHECK(keys.contains({std::string(rule.key), std::string(rule.path)}));
    }
  }
}

TEST_CASE("each invariant finds what breaks it, that alone, and lets the nearest good instance pass") {
  std::set<std::pair<std::string, Version>> seen;
  std::istringstream lines(cases_text());
  for (std::string line; std::getline(lines, line);) {
    for (const auto version : {Version::r4, Version::r5}) {
      const Strict& strict = Strict::of(version);
      Arena arena;
      const auto row = syntax::read_json(line, arena, strict.names);
      REQUIRE_MESSAGE(row, line);
      const std::string key((*row)->member("key")->text);
      const auto versions = (*row)->member("versions")->text;
      if (versions.find(fhir::version_name(version)) == std::string_view::npos) continue;
      CAPTURE(line);
      CAPTURE(fhir::version_name(version));
      seen.emplace(key, version);
      const bool narrative = key == "dom-6";
      // What is not covered is said, and is no fault.
      const auto faults = [&](std::string_view member) {
        std::vector<record::Finding> found = strict.find(line, *(*row)->member(member), narrative);
        std::erase_if(
            found, [](const record::Finding& one) { return one.severity == record::Severity::information; });
        return found;
      };
      const auto good = faults("passes");
      CHECK_MESSAGE(good.empty(), (good.empty() ? "" : good[0].path + ": " + good[0].message));
      const auto bad = faults("fails");
      // "beside": what the same fault breaks too.
      const auto* beside = (*row)->member("beside");
      bool found = false;
      for (const auto& one : bad) {
        const bool this_one = one.message.starts_with(key + ":");
        found = found || this_one;
        const bool known = beside != nullptr && (one.message.starts_with(std::string(beside->text) + ":") ||
                                                 record::finding_kind(one.id).slug == beside->text);
        CHECK_MESSAGE((this_one || known), one.message);
      }
      CHECK(found);
    }
  }
  for (const auto& rule : fhir::rules()) {
    CAPTURE(rule.key);
    for (const auto version : {Version::r4, Version::r5}) {
      const auto bit = version == Version::r4 ? fhir::Rule::r4 : fhir::Rule::r5;
      if ((rule.versions & bit) != 0) CHECK(seen.contains({std::string(rule.key), version}));
    }
  }
}

TEST_CASE("severities are those of the version") {
  // R4 4.0.1: con-3 is a warning; R5 5.0.0: another rule of that key is an error.
  const std::string r4 =
      R"({"resourceType":"Condition","subject":{"display":"x"},"category":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-category","code":"problem-list-item"}]}]})";
  CHECK(Strict::of(Version::r4).find(r4) == std::vector<std::string>{"fhir.best-practice Condition"});
  const std::string r5 =
      R"({"resourceType":"Condition","subject":{"display":"x"},"clinicalStatus":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-clinical","code":"active"}]},"abatementString":"x"})";
  CHECK(Strict::of(Version::r5).find(r5) == std::vector<std::string>{"fhir.invariant Condition"});
}
