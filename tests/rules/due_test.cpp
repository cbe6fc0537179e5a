// When the next change is due: tests/cases/rules/due.ndjson by hand (the interop suite holds the same cases
// and generated ones against the zone data of another program).
#include "rules/due.hpp"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "base/zone.hpp"
#include "rules/checking.hpp"

using namespace charpie;
using namespace charpie::tests;
using nlohmann::json;

namespace {

std::string record_of(const json& due_case) {
  json record = json::parse(
      R"({"format":"wound-visit/1","id":"V-1","status":"final","source":{"system":"https://invented.example/cases"},
    "patient":{"id":"P-1"},"wound":{"id":"1"},"order":{},"performed":{"kind":"dressing-change","outcome":"completed"}})");
  record["performed"]["start"] = due_case["start"];
  if (due_case.contains("zone")) record["performed"]["zone"] = due_case["zone"];
  record["order"]["repeat"] = due_case["repeat"];
  if (due_case.contains("outcome")) record["performed"]["outcome"] = due_case["outcome"];
  return record.dump();
}

rules::Due due_of(const json& due_case, std::optional<std::string> anchor = std::nullopt) {
  const auto reading = read(record_of(due_case));
  REQUIRE(reading.said() == "");
  std::optional<Time> time;
  if (anchor) time = parse_time(*anchor).time;
  return rules::next_due(reading.record, book(), time);
}

std::string joined(const std::vector<std::string>& notes) {
  std::string text;
  for (const auto& note : notes) text += note + "\n";
  return text;
}

}  // namespace

TEST_CASE("due times by hand") {
  std::istringstream lines(source_file("tests/cases/rules/due.ndjson"));
  std::size_t count = 0;
  for (std::string line; std::getline(lines, line); ++count) {
    const auto due_case = json::parse(line);
    CAPTURE(line);
    const auto due = due_of(due_case);
    CHECK(rules::in_words(due) == due_case["due"].get<std::string>());
    if (due_case.contains("note")) {
      CHECK(joined(due.notes).find(due_case["note"].get<std::string>()) != std::string::npos);
    } else {
      CHECK(joined(due.notes) == "");
    }
    CHECK(due.latest_by == due_case.value("latest", ""));
    CHECK(due.why.find(due_case.value("why", "")) != std::string::npos);
    CHECK(due.why.empty() == !due_case.contains("why"));
    if (due.kind == rules::Due::at) CHECK_FALSE(due.rule.empty());
  }
  CHECK(count >= 40);
}

TEST_CASE("an early change restarts intervals and does not move slots") {
  const auto early = [](std::string_view repeat) {
    return json{
        {"start", "2026-03-04T10:00+01:00"}, {"zone", "Europe/Berlin"}, {"repeat", json::parse(repeat)}};
  };
  // The change before it gave the 6th.
  CHECK(due_of(early(R"({"every":{"value":4,"unit":"d"},"asNeeded":true})"), "2026-03-06").text ==
        "2026-03-08T10:00+01:00");
  CHECK(due_of(early(R"({"slots":"every-other-day","asNeeded":true})"), "2026-03-06").text == "2026-03-06");
  CHECK(due_of(early(R"({"slots":"weekly","asNeeded":true})"), "2026-03-06").text == "2026-03-06");
  CHECK(due_of(early(R"({"slots":"monthly"})"), "2026-03-20").text == "2026-03-20");
  CHECK(due_of(early(R"({"slots":"daily","asNeeded":true})"), "2026-03-06").text == "2026-03-05");
  CHECK(due_of(early(R"({"slots":"every-shift"})"), "2026-03-04T19:00+01:00").text ==
        "2026-03-04T19:00+01:00");
}

TEST_CASE("what is no change is not counted from") {
  json due_case = {{"start", "2026-03-04T10:00+01:00"},
                   {"zone", "Europe/Berlin"},
                   {"repeat", {{"slots", "daily"}}},
                   {"outcome", "not-done"}};
  CHECK(due_of(due_case).kind == rules::Due::no_order);
  due_case["outcome"] = "stopped";
  CHECK(due_of(due_case).kind == rules::Due::at);
  due_case["start"] = "2026-03";
  CHECK(due_of(due_case).kind == rules::Due::no_order);
}

TEST_CASE("a charted due time is compared as finely as it is charted") {
  const auto due = due_of({{"start", "2026-03-02T10:00+01:00"},
                           {"zone", "Europe/Berlin"},
                           {"repeat", {{"every", {{"value", 2}, {"unit", "d"}}}}}});
  const auto same = [&](std::string_view charted) {
    return rules::compare_due(due, parse_time(charted).time, book()).same;
  };
  CHECK(same("2026-03-04"));
  CHECK(same("2026-03"));
  CHECK_FALSE(same("2026-03-05"));
  CHECK(same("2026-03-04T11:00+01:00"));
  CHECK_FALSE(same("2026-03-04T11:01+01:00"));
  CHECK(same("2026-03-04T09:30Z"));
}

TEST_CASE("a site's own handover and gap") {
  const auto own =
      rules::RuleBook::load(tests::tables(), tests::terms(), tests::units(),
                            "slug,setting,value,unit\ndue.times,every-shift,06:30 14:30 22:30,\n");
  REQUIRE(own);
  const auto reading = read(record_of({{"start", "2026-03-02T18:20+01:00"},
                                       {"zone", "Europe/Berlin"},
                                       {"repeat", {{"slots", "every-shift"}}}}));
  const auto due = rules::next_due(reading.record, *own);
  CHECK(due.text == "2026-03-02T22:30+01:00");
  CHECK(due.rule == "next slot of every-shift (06:30, 14:30, 22:30)");
}

TEST_CASE("zones: unknown names and names that try to leave the zone data are no zones") {
  CHECK(Zone::named("Europe/London"));
  for (const auto* name :
       {"", "Europe", "Europe/Atlantis", "../../etc/passwd", "europe/london", "/etc/localtime"}) {
    CAPTURE(std::string(name));
    CHECK_FALSE(Zone::named(name));
  }
  CHECK(offset_text(0) == "Z");
  CHECK(offset_text(630) == "+10:30");
  CHECK(offset_text(-210) == "-03:30");
  // Lord Howe puts its clock by half an hour; 2026-04-05T02:00 is 01:30 again.
  const auto zone = Zone::named("Australia/Lord_Howe");
  REQUIRE(zone);
  CHECK(zone->offset_at(seconds_since_epoch(parse_time("2026-04-04T00:00Z").time)) == 660);
  CHECK(zone->offset_at(seconds_since_epoch(parse_time("2026-04-05T00:00Z").time)) == 630);
}
