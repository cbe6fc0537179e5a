#include "base/time.hpp"

#include <doctest/doctest.h>
#include <time.h>

#include <random>
#include <string>

using namespace charpie;

namespace {

Time at(std::string_view text) {
  const TimeReading reading = parse_time(text);
  CAPTURE(text);
  REQUIRE_MESSAGE(reading.reason.empty(), std::string(reading.reason));
  return reading.time;
}

}  // namespace

TEST_CASE("what a time says") {
  const Time time = at("2026-03-02T13:30:15.2500-03:30");
  CHECK(time.year == 2026);
  CHECK(time.month == 3);
  CHECK(time.day == 2);
  CHECK(time.hour == 13);
  CHECK(time.minute == 30);
  CHECK(time.second == 15);
  CHECK(time.fraction == "2500");
  CHECK(time.offset_minutes == -210);
  CHECK(time.precision == TimePrecision::second);
  CHECK(time.text == "2026-03-02T13:30:15.2500-03:30");
  CHECK(at("2026").precision == TimePrecision::year);
  CHECK(at("2026-03").precision == TimePrecision::month);
  CHECK(at("2026-03-02").precision == TimePrecision::day);
  CHECK(at("2026-03-02T13:30+01:00").precision == TimePrecision::minute);
  CHECK(at("2026-03-02T13:30+01:00").offset_minutes == 60);
  CHECK(at("2026-03-02T13:30Z").offset_minutes == 0);
  CHECK_FALSE(at("2026-03-02").has_clock());
  CHECK(at("2026-03-02T13:30Z").has_clock());
}

TEST_CASE("times that are accepted") {
  const char* good[] = {"0001", "9999", "1900-12", "2024-02-29", "2000-02-29", "2026-12-31T00:00+14:00",
                        "2026-12-31T23:59-14:00", "2026-12-31T23:59:60Z", "2026-01-01T00:00-00:00",
                        "2026-01-01T00:00+13:59", "2026-01-01T00:00:00.000000000001Z",
                        // RFC 3339 section 5.8
                        "1985-04-12T23:20:50.52Z", "1996-12-19T16:39:57-08:00", "1990-12-31T23:59:60Z",
                        "1990-12-31T15:59:60-08:00", "1937-01-01T12:00:27.87+00:20"};
  for (const auto* text : good) at(text);
}

TEST_CASE("times that are refused, each with its own reason") {
  const struct {
    const char* text;
    const char* reason;
  } rows[] = {
      {"", "a time starts with a year of four digits"},
      {"26", "a time starts with a year of four digits"},
      {"x2026", "a time starts with a year of four digits"},
      {"-2026", "a time starts with a year of four digits"},
      {"0000", "there is no year 0000"},
      {"0000-01-01", "there is no year 0000"},
      {"20260302", "after the year stands no '-' and month"},
      {"2026/03", "after the year stands no '-' and month"},
      {"2026-3", "the month is not two digits"},
      {"2026-", "the month is not two digits"},
      {"2026-00", "the month is not 01 to 12"},
      {"2026-13", "the month is not 01 to 12"},
      {"2026-03/02", "after the month stands no '-' and day"},
      {"2026-03-2", "the day is not two digits"},
      {"2026-03-00", "the month has no such day"},
      {"2026-03-32", "the month has no such day"},
      {"2026-04-31", "the month has no such day"},
      {"2026-02-29", "the month has no such day"},
      {"1900-02-29", "the month has no such day"},
      {"2024-02-30", "the month has no such day"},
      {"2026-03-02 13:30+01:00", "after the day stands no 'T' and time of day"},
      {"2026-03-02t13:30Z", "after the day stands no 'T' and time of day"},
      {"2026-03-02T", "the time of day is not written HH:MM"},
      {"2026-03-02T13Z", "the time of day is not written HH:MM"},
      {"2026-03-02T1330Z", "the time of day is not written HH:MM"},
      {"2026-03-02T9:30Z", "the time of day is not written HH:MM"},
      {"2026-03-02T13:3Z", "the time of day is not written HH:MM"},
      {"2026-03-02T24:00Z", "the hour is above 23; midnight is 00:00 of the next day"},
      {"2026-03-02T13:60Z", "the minute is above 59"},
      {"2026-03-02T13:30:5Z", "the seconds are not two digits"},
      {"2026-03-02T13:30:61Z", "the second is above 60"},
      {"2026-03-02T13:30:15.Z", "digits are missing after the point of the seconds"},
      {"2026-03-02T13:30:15,5Z", "after the time of day stands no offset such as +01:00 or Z"},
      {"2026-03-02T13:30z", "after the time of day stands no offset such as +01:00 or Z"},
      {"2026-03-02T13:30", "a time of day needs its offset from UTC, as in +01:00 or Z"},
      {"2026-03-02T13:30:15", "a time of day needs its offset from UTC, as in +01:00 or Z"},
      {"2026-03-02T13:30+01", "the offset is not written +HH:MM or -HH:MM"},
      {"2026-03-02T13:30+0100", "the offset is not written +HH:MM or -HH:MM"},
      {"2026-03-02T13:30+1:00", "the offset is not written +HH:MM or -HH:MM"},
      {"2026-03-02T13:30+01:60", "the minutes of the offset are above 59"},
      {"2026-03-02T13:30+14:01", "the offset is beyond 14:00"},
      {"2026-03-02T13:30-15:00", "the offset is beyond 14:00"},
      {"2026-03-02T13:30ZZ", "text follows the time"},
      {"2026-03-02T13:30+01:00 ", "text follows the time"},
  };
  for (const auto& row : rows) {
    CAPTURE(row.text);
    CHECK(parse_time(row.text).reason == row.reason);
  }
}

TEST_CASE("clock times on a label") {
  for (const auto* text : {"00:00", "13:30", "23:59"}) CHECK(is_clocktime(text));
  for (const auto* text : {"", "24:00", "13:60", "9:30", "1330", "13:30:00", "13:3", "13:30Z", " 13:30"}) {
    CAPTURE(text);
    CHECK_FALSE(is_clocktime(text));
  }
}

TEST_CASE("instants are those of the C library") {
  std::mt19937 random(42);
  for (int i = 0; i < 20000; ++i) {
    tm parts{};
    parts.tm_year = static_cast<int>(random() % 9999) + 1 - 1900;
    parts.tm_mon = static_cast<int>(random() % 12);
    parts.tm_mday = static_cast<int>(random() % 28) + 1;
    parts.tm_hour = static_cast<int>(random() % 24);
    parts.tm_min = static_cast<int>(random() % 60);
    parts.tm_sec = static_cast<int>(random() % 60);
    const time_t expected = timegm(&parts);
    char text[32];
    strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &parts);
    std::string padded = text;
    while (padded.size() < 20) padded.insert(padded.begin(), '0');
    CAPTURE(padded);
    REQUIRE(seconds_since_epoch(at(padded)) == expected);
    REQUIRE(time_text(expected, 0, TimePrecision::second) == padded);
  }
  CHECK(days_since_epoch(at("1970-01-01")) == 0);
  CHECK(days_since_epoch(at("2000-03-01")) - days_since_epoch(at("2000-02-28")) == 2);
  CHECK(days_since_epoch(at("1900-03-01")) - days_since_epoch(at("1900-02-28")) == 1);
}

TEST_CASE("offsets are taken into account") {
  // RFC 3339 section 5.8 says of these pairs that they are the same instant.
  CHECK(seconds_since_epoch(at("1996-12-19T16:39:57-08:00")) ==
        seconds_since_epoch(at("1996-12-20T00:39:57Z")));
  CHECK(seconds_since_epoch(at("1990-12-31T15:59:60-08:00")) ==
        seconds_since_epoch(at("1990-12-31T23:59:60Z")));
  CHECK(time_text(0, 60, TimePrecision::minute) == "1970-01-01T01:00+01:00");
  CHECK(time_text(0, -210, TimePrecision::second) == "1969-12-31T20:30:00-03:30");
  CHECK(time_text(-1, 0, TimePrecision::day) == "1969-12-31");
  CHECK(time_text(0, 0, TimePrecision::month) == "1970-01");
  CHECK(time_text(0, 0, TimePrecision::year) == "1970");
  CHECK(time_text(4'000'000'000'000, 0, TimePrecision::day) == "");
  CHECK(time_text(-4'000'000'000'000, 0, TimePrecision::day) == "");
}

TEST_CASE("order in time is partial") {
  const auto less = std::partial_ordering::less;
  const auto same = std::partial_ordering::equivalent;
  const auto unordered = std::partial_ordering::unordered;
  const struct {
    const char* a;
    const char* b;
    std::partial_ordering order;
  } rows[] = {
      {"2025", "2026", less},
      {"2026", "2026", same},
      {"2026", "2026-03", unordered},
      {"2025", "2026-03-02T13:30+01:00", less},
      {"2026-03", "2026-03-02", unordered},
      {"2026-02", "2026-03-02", less},
      {"2026-03-01", "2026-03-02", less},
      {"2026-03-02", "2026-03-02T13:30+01:00", unordered},
      {"2026-03-01", "2026-03-02T00:00+01:00", less},
      {"2026-03-02T13:30+01:00", "2026-03-02T12:30Z", same},
      {"2026-03-02T13:30+01:00", "2026-03-02T13:30Z", less},
      {"2026-03-02T13:30Z", "2026-03-02T13:30:15Z", unordered},
      {"2026-03-02T13:29Z", "2026-03-02T13:30:00Z", less},
      {"2026-03-02T13:30:59Z", "2026-03-02T13:31Z", less},
      {"2026-03-02T13:30:15Z", "2026-03-02T13:30:15.0Z", same},
      {"2026-03-02T13:30:15.5Z", "2026-03-02T13:30:15.50Z", same},
      {"2026-03-02T13:30:15.5Z", "2026-03-02T13:30:15.51Z", less},
      {"2026-03-02T13:30:15Z", "2026-03-02T13:30:15.1Z", less},
      {"2026-03-02T13:30:15.09Z", "2026-03-02T13:30:15.1Z", less},
      {"2026-03-02T13:30:15.999Z", "2026-03-02T13:30:16Z", less},
      {"1969-12-31T23:59:59Z", "1970-01-01T00:00Z", less},
      {"1969-12-31T23:59:01Z", "1969-12-31T23:59Z", unordered},
  };
  for (const auto& row : rows) {
    CAPTURE(row.a);
    CAPTURE(row.b);
    CHECK(compare(at(row.a), at(row.b)) == row.order);
    CHECK(compare(at(row.b), at(row.a)) == 0 <=> row.order);
  }
}

TEST_CASE("a minute goes to FHIR and comes back a minute") {
  const struct {
    const char* charted;
    const char* fhir;
    bool mark;
  } rows[] = {{"2026", "2026", false},
              {"2026-03", "2026-03", false},
              {"2026-03-02", "2026-03-02", false},
              {"2026-03-02T13:30+01:00", "2026-03-02T13:30:00+01:00", true},
              {"2026-03-02T13:30Z", "2026-03-02T13:30:00Z", true},
              {"2026-03-02T13:30:00Z", "2026-03-02T13:30:00Z", false},
              {"2026-03-02T13:30:15.250-05:00", "2026-03-02T13:30:15.250-05:00", false}};
  for (const auto& row : rows) {
    CAPTURE(row.charted);
    std::string fhir;
    CHECK(append_fhir_date_time(at(row.charted), fhir) == row.mark);
    CHECK(fhir == row.fhir);
    std::string back;
    CHECK(append_charted_time(fhir, row.mark, back));
    CHECK(back == row.charted);
  }
  const struct {
    const char* fhir;
    bool mark;
  } refused[] = {{"2026-03-02T13:30:15Z", true}, {"2026-03-02T13:30:00.0Z", true},
                 {"2026-03-02", true},           {"2026-03-02T13:30Z", true},
                 {"yesterday", false},           {"2026-02-30", false}};
  for (const auto& row : refused) {
    CAPTURE(row.fhir);
    std::string back = "before";
    CHECK_FALSE(append_charted_time(row.fhir, row.mark, back));
    CHECK(back == "before");
  }
}
