// Times as charted: the text stays, and what it says (precision, offset, instant) is read beside it.
// No clock and no time-zone database here.
#pragma once
#include <compare>
#include <cstdint>
#include <string>
#include <string_view>

namespace charpie {

enum class TimePrecision : std::uint8_t { year, month, day, minute, second };

/// A time as written: 2026 | 2026-03 | 2026-03-02 | 2026-03-02T13:30+01:00 | 2026-03-02T13:30:15.25Z.
/// A view: `text` and `fraction` point into the bytes that were parsed. Fields finer than the precision are 0
/// (month and day: 1).
struct Time {
  std::string_view text{};
  std::string_view fraction{};  // digits after the point of the seconds, without the point
  std::int16_t year = 0;
  std::int16_t offset_minutes = 0;  // east of UTC; 0 also for Z and for dates
  std::uint8_t month = 1;
  std::uint8_t day = 1;
  std::uint8_t hour = 0;
  std::uint8_t minute = 0;
  std::uint8_t second = 0;  // 60 in a leap second
  TimePrecision precision = TimePrecision::year;

  bool has_clock() const { return precision >= TimePrecision::minute; }
};

/// A Time, or in plain words why the text is none. `reason` has static storage and is empty on success.
struct TimeReading {
  Time time;
  std::string_view reason{};
  explicit operator bool() const { return reason.empty(); }
};

/// Reads the record's grammar: FHIR dateTime (R4, datatypes) with the minute allowed as a precision of its
/// own. From the minute on an offset is required: Z, or up to 14:00 either way. Days are real calendar days,
/// the hour 24 and the year 0000 are refused, the second 60 is accepted.
TimeReading parse_time(std::string_view text);

/// Whether the text is HH:MM, 00:00 to 23:59, as written on a dressing's label.
bool is_clocktime(std::string_view text);

/// Days from 1970-01-01 to a day of the proleptic Gregorian calendar.
std::int64_t days_since_epoch(int year, int month, int day);

/// Days from 1970-01-01 to the calendar day that the time names, in its own offset. For year and month
/// precision: the first day of it.
std::int64_t days_since_epoch(const Time& time);

/// Whole seconds from 1970-01-01T00:00:00Z; for has_clock() only. The fraction is left out; second 60 is the
/// first second of the next minute.
std::int64_t seconds_since_epoch(const Time& time);

/// Order in time. Equivalent: same instant at the same precision (seconds and their fractions are one
/// precision, as in FHIRPath). Unordered: precisions differ and one lies within the other, so the question
/// has no answer. A date has no offset; against a time with one it is read as the calendar day there.
std::partial_ordering compare(const Time& a, const Time& b);

/// The time of day and date at an instant in an offset, e.g. 2026-03-02T13:30+01:00; offset 0 is written Z.
/// Precisions down from day to second; empty text outside the years 1 to 9999.
std::string time_text(std::int64_t seconds, int offset_minutes, TimePrecision precision);

/// Appends the FHIR dateTime (R4) of a time. FHIR wants seconds where there is a time of day: ":00" goes in
/// at minute precision. Returns whether it did, that is, whether the precision must be marked beside the
/// value.
bool append_fhir_date_time(const Time& time, std::string& out);

/// The way back: the charted text of a FHIR dateTime. With `minute_mark` the ":00" of the seconds goes out.
/// False, and nothing appended, when the text is no time or is marked and its seconds are not ":00".
bool append_charted_time(std::string_view fhir, bool minute_mark, std::string& out);

}  // namespace charpie
