// The dictionary and the list of findings agree with themselves.
#include "record/dictionary.hpp"

#include <doctest/doctest.h>

#include <set>
#include <string>

#include "record/finding.hpp"
#include "record/nearest.hpp"

using namespace charpie::record;

TEST_CASE("every field is found by its path, and by its name in its group") {
  std::set<std::string_view> paths;
  for (const Field& row : dictionary().subspan(1)) {
    CAPTURE(row.path);
    CHECK(find_field(row.path) == &row);
    CHECK(find_member(field(row.parent), row.name) == &row);
    CHECK(paths.insert(row.path).second);
    CHECK(&field(row.id) == &row);
    CHECK_FALSE(row.meaning.empty());
  }
  CHECK(find_field("") == nullptr);
  CHECK(find_field("size.lenght") == nullptr);
  CHECK(find_field("size.length.value") == nullptr);
  CHECK(find_field("size.") == nullptr);
  CHECK(find_field(".size") == nullptr);
  CHECK(find_field("order.repeat.every")->id == FieldId::order_repeat_every);
}

TEST_CASE("the members of a group follow each other, one slot each") {
  for (const Field& group : dictionary()) {
    std::uint16_t slot = 0;
    for (auto id = group.first_member; id != FieldId::visit; id = field(id).next_sibling) {
      CHECK(field(id).slot == slot++);
      CHECK(field(id).parent == group.id);
    }
    CHECK(slot == group.members);
  }
}

// The kinds of the record page that a few fields must have; entered by hand.
TEST_CASE("a few rows by hand") {
  const Field& length = *find_field("size.length");
  CHECK(length.kind == Kind::quantity);
  CHECK(length.argument == "L");
  CHECK(length.may_be_absent());
  CHECK_FALSE(length.may_be_none());
  const Field& edges = *find_field("edges");
  CHECK(edges.is_list());
  CHECK(edges.may_be_none());
  CHECK(find_field("status")->kind == Kind::word);
  CHECK(find_field("wound.id")->occurs == Occurs::required);
  CHECK(find_field("removed.drainage.extent")->argument == "L|L2");
}

TEST_CASE("slugs are unique and speaking, issue types are FHIR's") {
  // FHIR R4 4.0.1, CodeSystem issue-type: the codes in use here.
  const std::set<std::string_view> issue_types = {
      "invalid",       "structure",     "required",   "value",         "invariant",       "processing",
      "not-supported", "duplicate",     "not-found",  "too-long",      "code-invalid",    "extension",
      "too-costly",    "business-rule", "conflict",   "transient",     "lock-error",      "no-store",
      "exception",     "timeout",       "incomplete", "informational", "multiple-matches"};
  std::set<std::string_view> slugs;
  for (const FindingKind& kind : finding_kinds()) {
    CAPTURE(kind.slug);
    CHECK(slugs.insert(kind.slug).second);
    CHECK(kind.slug.find('.') != kind.slug.npos);
    CHECK(issue_types.contains(kind.issue_type));
    CHECK_FALSE(kind.message.empty());
    CHECK_FALSE(kind.mend.empty());
    CHECK(&finding_kind(find_finding(kind.slug)) == &kind);
    if (kind.blocks) CHECK(kind.severity >= Severity::error);
  }
  CHECK(find_finding("no.such") == FindingId::count);
}

TEST_CASE("severities are FHIR's, in the order of the enum") {
  CHECK(finding_kind(FindingId::unit_unusual).severity == Severity::warning);
  CHECK_FALSE(finding_kind(FindingId::unit_unusual).blocks);
  CHECK(finding_kind(FindingId::unit_missing).severity == Severity::error);
  CHECK(finding_kind(FindingId::unit_missing).blocks);
}

TEST_CASE("values fill the message and then the mend") {
  Findings findings;
  findings.begin("visits.ndjson", "v1", "{\"a\":\n \"b\"}", 17);
  findings.report(FindingId::absent_reason, "size.absent", 7, {"lost", "unknown masked"});
  findings.report(FindingId::field_missing, "id", Findings::no_place, {});
  const auto& all = findings.all();
  CHECK(all[0].message == "'lost' is not a data-absent-reason");
  CHECK(all[0].mend == "use one of: unknown masked");
  CHECK(all[0].line == 18);
  CHECK(all[0].column == 2);
  CHECK(all[0].file == "visits.ndjson");
  CHECK(all[0].record_key == "v1");
  CHECK(all[1].line == 0);
  CHECK(findings.blocked_since(0));
  CHECK_FALSE(findings.blocked_since(2));
  findings.clear();
  findings.report(FindingId::unit_unusual, "size.length", 0, {"m", ""});
  CHECK_FALSE(findings.blocked_since(0));
}

TEST_CASE("edit distance") {
  // The classic worked example, and a swap counted once.
  CHECK(edit_distance("kitten", "sitting") == 3);
  CHECK(edit_distance("lenght", "length") == 1);
  CHECK(edit_distance("", "abc") == 3);
  CHECK(edit_distance("abc", "abc") == 0);
}

TEST_CASE("the nearest field") {
  const Field& size = *find_field("size");
  CHECK(nearest_field(size, "Length") == " – did you mean 'size.length'?");
  CHECK(nearest_field(size, "measured_at") == " – did you mean 'size.measuredAt'?");
  CHECK(nearest_field(size, "stage") == " – did you mean 'wound.stage'?");
  CHECK(nearest_field(size, "stagee") == "");  // elsewhere only the very name counts
  CHECK(nearest_field(size, "d_e_p_t_h") == " – did you mean 'size.depth'?");
  CHECK(nearest_field(size, "d-e-p-t-h") == nearest_field(size, "d e p t h"));
  CHECK(nearest_field(size, "zzzzzz") == "");
  CHECK(nearest_field(size, std::string(100000, 'x')) == "");
  CHECK(nearest_field(size, "") == "");
}
