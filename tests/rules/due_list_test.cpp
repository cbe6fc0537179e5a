// Wounds by due time: whatever the order in which records come, and of a record's versions the last.
#include "rules/due_list.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "rules/checking.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

std::string visit(std::string_view id, std::string_view wound, std::string_view start,
                  std::string_view repeat, std::string_view more = {}, std::string_view status = "final",
                  std::string_view patient = "P-1") {
  std::string text = R"({"format":"wound-visit/1","id":")" + std::string(id) + R"(","status":")" +
                     std::string(status) +
                     R"(","source":{"system":"https://invented.example/cases"},"patient":{"id":")" +
                     std::string(patient) + R"("},"wound":{"id":")" + std::string(wound) + R"("},)";
  if (!repeat.empty()) text += R"("order":{"repeat":)" + std::string(repeat) + "},";
  text += R"("performed":{"kind":"dressing-change","outcome":"completed","start":")" + std::string(start) +
          R"(","zone":"Europe/Berlin"})";
  return text + std::string(more) + "}";
}

// "record due" of each wound, in the order of the list.
std::string due_of(const std::vector<std::string>& visits, std::size_t memory = 1u << 20) {
  rules::DueList list(book(), memory);
  for (const auto& one : visits) {
    const auto reading = read(one);
    REQUIRE(reading.said() == "");
    REQUIRE(list.add(reading.record));
  }
  const auto wounds = list.finish();
  REQUIRE(wounds);
  std::string text;
  for (const auto& one : *wounds) {
    text += one.record_key + " " +
            (one.due.kind == rules::Due::at          ? one.due.text
             : one.due.kind == rules::Due::as_needed ? "as needed"
                                                     : "not told");
    for (const auto& note : one.due.notes) text += " | " + note;
    text += "\n";
  }
  return text;
}

constexpr std::string_view weekly = R"({"slots":"weekly","asNeeded":true})";
constexpr std::string_view every_3_days = R"({"every":{"value":3,"unit":"d"}})";

}  // namespace

TEST_CASE(
    "the order of the input does not matter: an early change does not move the slot that came from the "
    "change before") {
  // Monday the 2nd gives the 9th; the early change of the 5th does not move it; that of the 9th gives the
  // 16th.
  std::vector<std::string> visits = {visit("V-9", "1", "2026-03-02T10:00+01:00", weekly),
                                     visit("V-2", "1", "2026-03-05T10:00+01:00", weekly)};
  CHECK(due_of(visits) == "V-2 2026-03-09\n");
  std::reverse(visits.begin(), visits.end());
  CHECK(due_of(visits) == "V-2 2026-03-09\n");
  visits.push_back(visit("V-3", "1", "2026-03-09T10:00+01:00", weekly));
  std::sort(visits.begin(), visits.end());
  do {
    CHECK(due_of(visits) == "V-3 2026-03-16\n");
    CHECK(due_of(visits, 1) == "V-3 2026-03-16\n");  // each record in a file of its own
  } while (std::next_permutation(visits.begin(), visits.end()));
}

TEST_CASE("a change entered in error, or amended, does not count by its old version") {
  const auto first = visit("V-1", "1", "2026-03-02T10:00+01:00", every_3_days);
  const auto second = visit("V-2", "1", "2026-03-04T10:00+01:00", every_3_days);
  CHECK(due_of({first, second}) == "V-2 2026-03-07T10:00+01:00\n");
  CHECK(due_of({first, second,
                visit("V-2", "1", "2026-03-04T10:00+01:00", every_3_days, "", "entered-in-error")}) ==
        "V-1 2026-03-05T10:00+01:00\n");
  CHECK(due_of({first, second, visit("V-2", "1", "2026-03-03T08:00+01:00", every_3_days, "", "corrected")}) ==
        "V-2 2026-03-06T08:00+01:00\n");
  CHECK(due_of({first, visit("V-1", "1", "2026-03-02T10:00+01:00", every_3_days, "", "entered-in-error")}) ==
        "");
}

TEST_CASE("a later change without an order is told, not counted from") {
  CHECK(due_of({visit("V-1", "1", "2026-03-02T10:00+01:00", every_3_days),
                visit("V-2", "1", "2026-03-03T10:00+01:00", "")}) ==
        "V-1 2026-03-05T10:00+01:00 | the change of 2026-03-03T10:00+01:00 (record V-2) names no order and "
        "is not counted from\n");
  CHECK(due_of({visit("V-2", "1", "2026-03-03T10:00+01:00", "")}) == "");
}

TEST_CASE("the earliest first, then what has no time; patients with the same wound number stay apart") {
  CHECK(due_of({visit("V-1", "1", "2026-03-03T10:00+01:00", R"({"asNeeded":true})"),
                visit("V-2", "2", "2026-03-03T10:00+01:00", every_3_days),
                visit("V-3", "1", "2026-03-02T10:00+01:00", every_3_days, "", "final", "P-2")}) ==
        "V-3 2026-03-05T10:00+01:00\nV-2 2026-03-06T10:00+01:00\nV-1 as needed\n");
}

TEST_CASE("what was charted stays beside what the order gives") {
  rules::DueList list(book());
  const auto reading =
      read(visit("V-1", "1", "2026-03-02T10:00+01:00", every_3_days, R"(,"plan":{"nextDue":"2026-03-06"})"));
  REQUIRE(list.add(reading.record));
  const auto wounds = list.finish();
  REQUIRE(wounds);
  REQUIRE(wounds->size() == 1);
  CHECK(wounds->front().charted == "2026-03-06");
  CHECK(wounds->front().comparison.comparable);
  CHECK_FALSE(wounds->front().comparison.same);
}
