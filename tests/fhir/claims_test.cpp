// What profiles ask. US Core 9.0.0 (R4): us-core-observation-clinical-result with us-core-1 to us-core-3,
// us-core-procedure with us-core-7; HL7 lower-extremity wound guide, 2020: WoundSize.
#include "fhir/claims.hpp"

#include <doctest/doctest.h>

#include "syntax/json.hpp"

using namespace charpie;

namespace {

// "URL" of the profile that fits, or "place: words" of what does not.
std::string fit(std::string_view claim, const std::string& json) {
  static const Tables tables{embedded_tables()};
  const auto claims = fhir::Claims::load(tables, claim);
  REQUIRE(claims);
  Arena arena;
  const syntax::Names names;
  auto tree = syntax::read_json(json, arena, names);
  REQUIRE(tree);
  fhir::Claims::Misfit misfit;
  const auto url = claims->fitting(**tree, misfit);
  if (!url.empty()) return std::string(url.substr(url.rfind('/') + 1));
  return misfit.url.empty() ? "no profile" : misfit.place + ": " + misfit.words;
}

std::string observation(std::string_view members) {
  return R"({"resourceType":"Observation","status":"final","category":[{"coding":[{"code":"exam"}]}],)"
         R"("code":{"coding":[{"system":"http://loinc.org","code":"39126-8"}]},"subject":{"identifier":{"value":"P"}},)" +
         std::string(members) + "}";
}

std::string size_panel(std::string_view code, std::string_view members) {
  return R"({"resourceType":"Observation","status":"final","code":{"coding":[{"system":"http://loinc.org","code":"72287-6"})" +
         std::string(code) + "]}" + std::string(members) + "}";
}

}  // namespace

TEST_CASE("US Core: the finding of an exam") {
  const std::string fits = "us-core-observation-clinical-result";
  const std::string value = R"("valueQuantity":{"value":4,"system":"http://unitsofmeasure.org","code":"cm"})";
  CHECK(fit("us-core-9", observation(R"("effectiveDateTime":"2026-03-02",)" + value)) == fits);
  CHECK(fit("us-core-9", observation(value)) == fits);
  CHECK(fit("us-core-9", observation(R"("effectiveDateTime":"2026-03",)" + value)) ==
        "effectiveDateTime: a time must be known at least to the day");
  CHECK(fit("us-core-9", observation(R"("effectiveDateTime":"2026-03-02")")) ==
        "hasMember: something must stand there");  // us-core-2: the last of the places that would do
  CHECK(fit("us-core-9", observation(R"("hasMember":[{"reference":"Observation/a"}])")) == fits);
  CHECK(fit("us-core-9", observation(R"("valueQuantity":{"value":4,"system":"urn:mine","code":"cm"})")) ==
        "valueQuantity.system: it must be 'http://unitsofmeasure.org'");
}

TEST_CASE("US Core: the procedure has a time when it was done") {
  const std::string procedure =
      R"({"resourceType":"Procedure","code":{"text":"x"},"subject":{"reference":"Patient/a"},"status":)";
  CHECK(fit("us-core-9", procedure + R"("completed","performedDateTime":"2026-03-02"})") ==
        "us-core-procedure");
  CHECK(fit("us-core-9", procedure + R"("completed"})") == "performed[x]: something must stand there");
  CHECK(fit("us-core-9", procedure + R"("not-done"})") == "us-core-procedure");
}

TEST_CASE("the draft guide wants its codings alone and its sizes in centimetres") {
  const auto part = [](std::string_view unit) {
    return R"(,"component":[{"code":{"coding":[{"system":"http://loinc.org","code":"39126-8"}]},"valueQuantity":{"value":4,)"
           R"("system":"http://unitsofmeasure.org","code":")" +
           std::string(unit) + R"("}}])";
  };
  CHECK(fit("wound-draft", size_panel("", part("cm"))) == "WoundSize");
  CHECK(fit("wound-draft", size_panel(R"(,{"system":"urn:mine","code":"size"})", part("cm"))) ==
        "code: its one coding must stand alone");
  CHECK(fit("wound-draft", size_panel("", part("[in_i]"))) ==
        "component(39126-8).valueQuantity.code: it must be 'cm'");
  CHECK(fit("wound-draft", size_panel("", R"(,"valueString":"4 x 2")")) ==
        "value[x]: nothing may stand there");
  CHECK(fit("wound-draft", size_panel("", R"(,"component":[{},{},{},{},{},{}])")) ==
        "component: at most 5 may stand there");
  CHECK(fit("wound-draft", observation(R"("valueString":"x")")) == "no profile");
}

TEST_CASE("a claim that is not in the table is refused with those that are") {
  const Tables tables{embedded_tables()};
  const auto none = fhir::Claims::load(tables, "us-core-10");
  REQUIRE(!none);
  CHECK(none.error().mend.find("'us-core-9'") != std::string::npos);
}
