// Findings told in each form, chosen, counted and held against a baseline.
#include "rules/report.hpp"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "rules/checking.hpp"

using namespace charpie;
using namespace charpie::tests;
using nlohmann::json;
using record::FindingId;
using rules::ReportForm;

namespace {

std::vector<record::Finding> two_findings() {
  record::Findings findings;
  findings.begin("ward \"A\"/visits 1.ndjson", "V-1", "{\n  \"x\": 1}", 7);
  findings.report(FindingId::unit_not_ucum, "size.length", 4, {"centimeters", "; perhaps meant: 'cm'"});
  findings.report(FindingId::signs_together, "drainage.type", record::Findings::no_place,
                  {"purulent", "warmth"});
  return findings.take();
}

std::string told(ReportForm form, std::span<const record::Finding> findings, bool color = false) {
  rules::ReportOptions options;
  options.form = form;
  options.color = color;
  options.version = "9.9";
  options.system = "https://invented.example/findings";
  rules::Report report(options);
  std::string out;
  report.begin(out);
  for (const auto& one : findings) report.add(one, out);
  report.end(out);
  return out;
}

}  // namespace

TEST_CASE("text says place, severity in words, slug, record, field, message and mend") {
  const auto text = told(ReportForm::text, two_findings());
  CHECK(text.find("ward \"A\"/visits 1.ndjson:8:3: error unit.not-ucum (blocks): V-1 size.length: unit "
                  "'centimeters' is not a UCUM code; "
                  "perhaps meant: 'cm'\n    write the UCUM code\n") == 0);
  CHECK(text.find("\nward \"A\"/visits 1.ndjson: information signs.seen-together: V-1 drainage.type: ") !=
        std::string::npos);
  CHECK(text.find('\033') == std::string::npos);
  const auto colored = told(ReportForm::text, two_findings(), true);
  CHECK(colored.find("\033[31merror\033[0m unit.not-ucum") != std::string::npos);
}

TEST_CASE("NDJSON is one object a line") {
  const auto text = told(ReportForm::ndjson, two_findings());
  const auto first = json::parse(text.substr(0, text.find('\n')));
  CHECK(first["severity"] == "error");
  CHECK(first["slug"] == "unit.not-ucum");
  CHECK(first["blocks"] == true);
  CHECK(first["line"] == 8);
  CHECK(first["column"] == 3);
  CHECK(first["record"] == "V-1");
  CHECK(first["path"] == "size.length");
  const auto second = json::parse(text.substr(text.find('\n') + 1));
  CHECK_FALSE(second.contains("line"));
}

TEST_CASE("an OperationOutcome holds issues with the codes that FHIR has, at least one") {
  // FHIR R4 4.0.1, ValueSet issue-type (required binding of OperationOutcome.issue.code), from memory; R5
  // adds some.
  const std::set<std::string> issue_types = {
      "invalid",       "structure", "required",         "value",         "invariant",  "security",
      "login",         "unknown",   "expired",          "forbidden",     "suppressed", "processing",
      "not-supported", "duplicate", "multiple-matches", "not-found",     "deleted",    "too-long",
      "code-invalid",  "extension", "too-costly",       "business-rule", "conflict",   "transient",
      "lock-error",    "no-store",  "exception",        "timeout",       "incomplete", "throttled",
      "informational"};
  for (const auto& kind : record::finding_kinds()) {
    CAPTURE(std::string(kind.slug));
    CHECK(issue_types.contains(std::string(kind.issue_type)));
  }
  const auto outcome = json::parse(told(ReportForm::outcome, two_findings()));
  CHECK(outcome["resourceType"] == "OperationOutcome");
  REQUIRE(outcome["issue"].size() == 2);
  const auto& issue = outcome["issue"][0];
  CHECK(issue["severity"] == "error");
  CHECK(issue["code"] == "code-invalid");
  CHECK(issue["details"]["coding"][0]["code"] == "unit.not-ucum");
  CHECK(issue["details"]["text"].get<std::string>().starts_with("unit 'centimeters'"));
  CHECK(issue["expression"] == json::array({"size.length"}));
  const std::set<std::string> members = {"severity", "code", "details", "diagnostics", "expression"};
  for (const auto& [name, value] : issue.items()) CHECK(members.contains(name));
  // OperationOutcome.issue is 1..*.
  CHECK(json::parse(told(ReportForm::outcome, {}))["issue"].size() == 1);
}

TEST_CASE("SARIF 2.1.0 names its rules and points to places") {
  const auto log = json::parse(told(ReportForm::sarif, two_findings()));
  CHECK(log["version"] == "2.1.0");
  const auto& run = log["runs"][0];
  CHECK(run["tool"]["driver"]["rules"].size() == record::finding_kinds().size());
  const auto& result = run["results"][0];
  const std::size_t index = result["ruleIndex"];
  CHECK(run["tool"]["driver"]["rules"][index]["id"] == result["ruleId"]);
  CHECK(result["level"] == "error");
  CHECK(run["results"][1]["level"] == "note");
  const auto& place = result["locations"][0]["physicalLocation"];
  CHECK(place["artifactLocation"]["uri"] == "ward%20%22A%22/visits%201.ndjson");
  CHECK(place["region"]["startLine"] == 8);
  CHECK_FALSE(run["results"][1]["locations"][0]["physicalLocation"].contains("region"));
  CHECK(result["partialFingerprints"]["finding/v1"] !=
        run["results"][1]["partialFingerprints"]["finding/v1"]);
  CHECK(json::parse(told(ReportForm::sarif, {}))["runs"][0]["results"].empty());
}

TEST_CASE("only and skip choose by slug or by its front part") {
  const auto found = two_findings();
  const std::vector<std::string> none, units = {"unit"}, signs = {"signs.seen-together"},
                                       wrong = {"unit.not-ucumm"};
  const auto all = rules::Selection::of(none, none);
  CHECK(all->wants(found[0]));
  const auto only = rules::Selection::of(units, none);
  CHECK(only->wants(found[0]));
  CHECK_FALSE(only->wants(found[1]));
  const auto skip = rules::Selection::of(none, signs);
  CHECK(skip->wants(found[0]));
  CHECK_FALSE(skip->wants(found[1]));
  const auto refused = rules::Selection::of(wrong, none);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().mend == "perhaps meant: unit.not-ucum");
}

TEST_CASE("the summary counts by slug and by source") {
  const auto found = two_findings();
  rules::Summary one, other;
  one.add(found[0], "ward A");
  one.add(found[0], "ward B");
  other.add(found[0], "ward A");
  other.add(found[1], "");
  one.add(other);
  CHECK(one.total() == 4);
  CHECK(one.count(FindingId::unit_not_ucum) == 3);
  std::string text;
  one.append(text);
  CHECK(text ==
        "3 error unit.not-ucum\n1 information signs.seen-together\n1 from (no source named)\n2 from ward "
        "A\n1 from ward B\n");
}

TEST_CASE("a known finding is taken once, wherever its file and line went") {
  const auto found = two_findings();
  auto known = rules::Known::read(told(ReportForm::ndjson, {&found[0], 1}), "accepted.ndjson");
  REQUIRE(known);
  auto moved = found[0];
  moved.file = "elsewhere.ndjson";
  moved.line = 99;
  CHECK(known->left() == 1);
  CHECK_FALSE(known->take(found[1]));
  CHECK(known->take(moved));
  CHECK_FALSE(known->take(moved));
  CHECK(known->taken() == 1);
  const auto broken = rules::Known::read("{\"slug\":\"unit.not-ucum\"}\n\n{}\n", "accepted.ndjson");
  REQUIRE_FALSE(broken);
  CHECK(broken.error().line == 3);
}
