#include "base/time.hpp"

#include <algorithm>
#include <tuple>

namespace charpie {

namespace {

bool is_leap_year(int year) {
  return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

int days_in_month(int year, int month) {
  constexpr std::uint8_t days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  return month == 2 && is_leap_year(year) ? 29 : days[month - 1];
}

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

// Takes digits and signs off the front of a text.
struct TimeText {
  std::string_view rest;

  bool done() const { return rest.empty(); }
  bool take(char c) {
    if (rest.empty() || rest.front() != c) return false;
    rest.remove_prefix(1);
    return true;
  }
  // A number of exactly `count` digits, or -1.
  int number(std::size_t count) {
    if (rest.size() < count) return -1;
    int value = 0;
    for (std::size_t i = 0; i < count; ++i) {
      if (!is_digit(rest[i])) return -1;
      value = value * 10 + (rest[i] - '0');
    }
    rest.remove_prefix(count);
    return value;
  }
};

// The parts of a time of day, after the 'T'. Returns the reason for refusing, empty if there is none.
std::string_view read_clock(TimeText& text, Time& time) {
  const int hour = text.number(2);
  if (hour < 0 || !text.take(':')) return "the time of day is not written HH:MM";
  if (hour > 23) return "the hour is above 23; midnight is 00:00 of the next day";
  const int minute = text.number(2);
  if (minute < 0) return "the time of day is not written HH:MM";
  if (minute > 59) return "the minute is above 59";
  time.hour = static_cast<std::uint8_t>(hour);
  time.minute = static_cast<std::uint8_t>(minute);
  time.precision = TimePrecision::minute;
  if (!text.take(':')) return {};
  const int second = text.number(2);
  if (second < 0) return "the seconds are not two digits";
  if (second > 60) return "the second is above 60";
  time.second = static_cast<std::uint8_t>(second);
  time.precision = TimePrecision::second;
  if (!text.take('.')) return {};
  std::size_t count = 0;
  while (count < text.rest.size() && is_digit(text.rest[count])) ++count;
  if (count == 0) return "digits are missing after the point of the seconds";
  time.fraction = text.rest.substr(0, count);
  text.rest.remove_prefix(count);
  return {};
}

std::string_view read_offset(TimeText& text, Time& time) {
  if (text.take('Z')) return {};
  const bool east = text.take('+');
  if (!east && !text.take('-')) {
    return text.done() ? "a time of day needs its offset from UTC, as in +01:00 or Z"
                       : "after the time of day stands no offset such as +01:00 or Z";
  }
  const int hours = text.number(2);
  const int minutes = hours >= 0 && text.take(':') ? text.number(2) : -1;
  if (minutes < 0) return "the offset is not written +HH:MM or -HH:MM";
  if (minutes > 59) return "the minutes of the offset are above 59";
  if (hours * 60 + minutes > 14 * 60) return "the offset is beyond 14:00";
  const int offset = hours * 60 + minutes;
  time.offset_minutes = static_cast<std::int16_t>(east ? offset : -offset);
  return {};
}

std::string_view read_time(TimeText text, Time& time) {
  const int year = text.number(4);
  if (year < 0) return "a time starts with a year of four digits";
  if (year == 0) return "there is no year 0000";
  time.year = static_cast<std::int16_t>(year);
  if (text.done()) return {};
  if (!text.take('-')) return "after the year stands no '-' and month";
  const int month = text.number(2);
  if (month < 0) return "the month is not two digits";
  if (month < 1 || month > 12) return "the month is not 01 to 12";
  time.month = static_cast<std::uint8_t>(month);
  time.precision = TimePrecision::month;
  if (text.done()) return {};
  if (!text.take('-')) return "after the month stands no '-' and day";
  const int day = text.number(2);
  if (day < 0) return "the day is not two digits";
  if (day < 1 || day > days_in_month(year, month)) return "the month has no such day";
  time.day = static_cast<std::uint8_t>(day);
  time.precision = TimePrecision::day;
  if (text.done()) return {};
  if (!text.take('T')) return "after the day stands no 'T' and time of day";
  if (const auto reason = read_clock(text, time); !reason.empty()) return reason;
  if (const auto reason = read_offset(text, time); !reason.empty()) return reason;
  return text.done() ? std::string_view{} : "text follows the time";
}

// A fraction of a second, compared by its digits: .5 and .50 are the same.
std::strong_ordering compare_fractions(std::string_view a, std::string_view b) {
  const auto digit = [](std::string_view digits, std::size_t i) {
    return i < digits.size() ? digits[i] : '0';
  };
  for (std::size_t i = 0; i < std::max(a.size(), b.size()); ++i) {
    if (digit(a, i) != digit(b, i)) return digit(a, i) <=> digit(b, i);
  }
  return std::strong_ordering::equal;
}

// Two digits with leading zero.
void append_two(int value, std::string& out) {
  out += static_cast<char>('0' + value / 10);
  out += static_cast<char>('0' + value % 10);
}

std::int64_t floor_divide(std::int64_t a, std::int64_t b) {
  return a / b - (a % b < 0 ? 1 : 0);
}

}  // namespace

TimeReading parse_time(std::string_view text) {
  TimeReading reading;
  reading.reason = read_time({text}, reading.time);
  reading.time.text = text;
  return reading;
}

bool is_clocktime(std::string_view text) {
  TimeText rest{text};
  const int hour = rest.number(2);
  if (hour < 0 || hour > 23 || !rest.take(':')) return false;
  const int minute = rest.number(2);
  return minute >= 0 && minute <= 59 && rest.done();
}

// Counts in 400-year eras of 146097 days, with the year beginning in March so that the leap day comes last.
std::int64_t days_since_epoch(int year, int month, int day) {
  const std::int64_t shifted = year - (month <= 2 ? 1 : 0);
  const std::int64_t era = floor_divide(shifted, 400);
  const std::int64_t year_of_era = shifted - era * 400;
  const std::int64_t day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
  const std::int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
  return era * 146097 + day_of_era - 719468;  // days from 0000-03-01 to 1970-01-01
}

std::int64_t days_since_epoch(const Time& time) {
  return days_since_epoch(time.year, time.month, time.day);
}

std::int64_t seconds_since_epoch(const Time& time) {
  return days_since_epoch(time) * 86400 + time.hour * 3600 + time.minute * 60 + time.second -
         std::int64_t{time.offset_minutes} * 60;
}

std::partial_ordering compare(const Time& a, const Time& b) {
  const auto coarser = std::min(a.precision, b.precision);
  std::strong_ordering order = std::strong_ordering::equal;
  switch (coarser) {
    case TimePrecision::year:
      order = a.year <=> b.year;
      break;
    case TimePrecision::month:
      order = std::tuple(a.year, a.month) <=> std::tuple(b.year, b.month);
      break;
    case TimePrecision::day:
      order = std::tuple(a.year, a.month, a.day) <=> std::tuple(b.year, b.month, b.day);
      break;
    case TimePrecision::minute:
      order = floor_divide(seconds_since_epoch(a), 60) <=> floor_divide(seconds_since_epoch(b), 60);
      break;
    case TimePrecision::second:
      order = seconds_since_epoch(a) <=> seconds_since_epoch(b);
      if (order == 0) order = compare_fractions(a.fraction, b.fraction);
      break;
  }
  if (order == 0 && a.precision != b.precision) return std::partial_ordering::unordered;
  return order;
}

std::string time_text(std::int64_t seconds, int offset_minutes, TimePrecision precision) {
  const std::int64_t local = seconds + std::int64_t{offset_minutes} * 60;
  const std::int64_t days = floor_divide(local, 86400);
  const std::int64_t of_day = local - days * 86400;
  if (days < days_since_epoch(1, 1, 1) || days > days_since_epoch(9999, 12, 31)) return {};
  // The inverse of days_since_epoch().
  const std::int64_t shifted = days + 719468;
  const std::int64_t era = floor_divide(shifted, 146097);
  const std::int64_t day_of_era = shifted - era * 146097;
  const std::int64_t year_of_era =
      (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
  const std::int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  const std::int64_t month_from_march = (5 * day_of_year + 2) / 153;
  const int day = static_cast<int>(day_of_year - (153 * month_from_march + 2) / 5 + 1);
  const int month = static_cast<int>(month_from_march < 10 ? month_from_march + 3 : month_from_march - 9);
  const int year = static_cast<int>(year_of_era + era * 400 + (month <= 2 ? 1 : 0));

  std::string out;
  append_two(year / 100, out);
  append_two(year % 100, out);
  if (precision == TimePrecision::year) return out;
  out += '-';
  append_two(month, out);
  if (precision == TimePrecision::month) return out;
  out += '-';
  append_two(day, out);
  if (precision == TimePrecision::day) return out;
  out += 'T';
  append_two(static_cast<int>(of_day / 3600), out);
  out += ':';
  append_two(static_cast<int>(of_day / 60 % 60), out);
  if (precision == TimePrecision::second) {
    out += ':';
    append_two(static_cast<int>(of_day % 60), out);
  }
  if (offset_minutes == 0) {
    out += 'Z';
    return out;
  }
  out += offset_minutes < 0 ? '-' : '+';
  const int size = offset_minutes < 0 ? -offset_minutes : offset_minutes;
  append_two(size / 60, out);
  out += ':';
  append_two(size % 60, out);
  return out;
}

namespace {
// Length of "2026-03-02T13:30", in front of the seconds or the offset.
constexpr std::size_t to_minute = 16;
}  // namespace

bool append_fhir_date_time(const Time& time, std::string& out) {
  if (time.precision != TimePrecision::minute) {
    out += time.text;
    return false;
  }
  out += time.text.substr(0, to_minute);
  out += ":00";
  out += time.text.substr(to_minute);
  return true;
}

bool append_charted_time(std::string_view fhir, bool minute_mark, std::string& out) {
  const TimeReading reading = parse_time(fhir);
  if (!reading) return false;
  if (!minute_mark) {
    out += fhir;
    return true;
  }
  const Time& time = reading.time;
  if (time.precision != TimePrecision::second || time.second != 0 || !time.fraction.empty()) return false;
  out += fhir.substr(0, to_minute);
  out += fhir.substr(to_minute + 3);
  return true;
}

}  // namespace charpie
