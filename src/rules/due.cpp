#include "rules/due.hpp"

#include <algorithm>
#include <charconv>

#include "base/zone.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::Quantity;
using record::Record;
using record::Value;

namespace {

constexpr std::int64_t seconds_in_day = 86400;

// A day on the wall's calendar, counted from 1970-01-01.
using Day = std::int64_t;

Day day_of(std::int64_t seconds) {
  return seconds >= 0 ? seconds / seconds_in_day : -((-seconds + seconds_in_day - 1) / seconds_in_day);
}

std::string day_text(Day day) {
  return time_text(day * seconds_in_day, 0, TimePrecision::day);
}

struct YearMonthDay {
  int year, month, day;
};
YearMonthDay calendar(Day day) {
  const auto text = day_text(day);
  const auto number = [&](std::size_t at, std::size_t length) {
    int value = 0;
    std::from_chars(text.data() + at, text.data() + at + length, value);
    return value;
  };
  if (text.size() != 10) return {1, 1, 1};
  return {number(0, 4), number(5, 2), number(8, 2)};
}

int days_in_month(int year, int month) {
  const int next_year = month == 12 ? year + 1 : year;
  const int next_month = month == 12 ? 1 : month + 1;
  return static_cast<int>(days_since_epoch(next_year, next_month, 1) - days_since_epoch(year, month, 1));
}

// Months later on the calendar; the last of the month where there is no such day.
Day add_months(Day day, std::int64_t months) {
  const auto date = calendar(day);
  const std::int64_t count = std::int64_t{date.year} * 12 + date.month - 1 + months;
  const int year = static_cast<int>(count / 12);
  const int month = static_cast<int>(count % 12) + 1;
  return days_since_epoch(year, month, std::min(date.day, days_in_month(year, month)));
}

int weekday(Day day) {
  return static_cast<int>(((day % 7) + 10) % 7) + 1;
}  // 1970-01-01 was a Thursday: 4

std::int64_t wall_seconds(const Time& time) {
  return seconds_since_epoch(time) + std::int64_t{time.offset_minutes} * 60;
}

std::int64_t clock_seconds(std::string_view clock) {
  return (clock[0] - '0') * 36000 + (clock[1] - '0') * 3600 + (clock[3] - '0') * 600 + (clock[4] - '0') * 60;
}

// The change that is counted from, and the clock that it is counted on.
struct Change {
  Time time;                 // as charted
  std::int64_t instant = 0;  // with a clock
  std::int64_t wall = 0;     // what the zone's clock said then, in seconds from 1970-01-01 of that clock
  Zone zone = Zone::fixed(0);
  std::string zone_name;
  Day day = 0;  // on the wall
};

// A length of time in an order: calendar parts keep the clock on the wall, the rest is elapsed time.
struct Length {
  std::int64_t days = 0, months = 0, seconds = 0;
  bool calendar() const { return days != 0 || months != 0; }
};

struct CalendarUnit {
  std::string_view unit;
  std::int64_t days, months;
};
// UCUM codes that FHIR's Timing takes as calendar units (R4 Timing.repeat.periodUnit: d wk mo a).
constexpr CalendarUnit calendar_units[] = {{"d", 1, 0}, {"wk", 7, 0}, {"mo", 0, 1}, {"a", 0, 12}};
// Longer than a century is no order.
constexpr std::int64_t longest_days = 36525;

std::optional<std::int64_t> whole(const ExactDecimal& number) {
  const auto text = number.text();
  std::int64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

std::optional<Length> length_of(const Quantity& quantity, const RuleBook& book, std::string& why) {
  const auto refuse = [&](std::string reason) {
    why = "'" + shown(quantity) + "' " + std::move(reason);
    return std::nullopt;
  };
  if (!quantity.comparator.empty()) return refuse("is a bound, not a length of time");
  if (!is_decimal(quantity.value)) return refuse("is no number");
  const ExactDecimal number(quantity.decimal());
  if (number.sign() <= 0 || !number.is_exact()) return refuse("is no length of time");
  for (const auto& row : calendar_units) {
    if (row.unit != quantity.unit) continue;
    if (const auto count = whole(number)) {
      Length length;
      if (*count > longest_days) return refuse("is longer than a century");
      length.days = *count * row.days;
      length.months = *count * row.months;
      if (length.days > longest_days || length.months > longest_days / 30)
        return refuse("is longer than a century");
      return length;
    }
    if (row.months != 0) return refuse("is no whole number of months");
  }
  const auto converted = book.units().convert(quantity.value, quantity.unit, "s");
  if (!converted || !converted->exact) return refuse("is no length of time that can be counted exactly");
  const auto seconds = whole(ExactDecimal(Decimal(converted->text)));
  if (!seconds || *seconds > longest_days * seconds_in_day)
    return refuse("is no whole number of seconds, or longer than a century");
  Length length;
  length.seconds = *seconds;
  return length;
}

class Arithmetic {
 public:
  Arithmetic(const Change& change, const RuleBook& book, Due& due)
      : change_(change), book_(book), due_(due) {}

  // The time at a length after the change; nothing when the change has no hour and the length needs one.
  struct Point {
    TimePrecision precision = TimePrecision::day;
    std::int64_t seconds = 0;  // an instant, or midnight UTC of the day
    int offset = 0;
    Day day = 0;
    std::string note{};
  };
  std::optional<Point> after(const Length& length, std::string_view what) {
    if (!change_.time.has_clock()) {
      if (length.seconds % seconds_in_day != 0) {
        due_.why = "the change has no hour: " + std::string(what) + " cannot be counted from it";
        return std::nullopt;
      }
      const Day day = length.months != 0 ? add_months(change_.day, length.months)
                                         : change_.day + length.days + length.seconds / seconds_in_day;
      return on_day(day);
    }
    const auto precision = change_.time.precision;
    if (!length.calendar()) {
      const std::int64_t instant = change_.instant + length.seconds;
      return at_instant(instant, precision);
    }
    const std::int64_t of_day = change_.wall - change_.day * seconds_in_day;
    const Day day = length.months != 0 ? add_months(change_.day, length.months) : change_.day + length.days;
    return at_wall(day, of_day, precision);
  }

  Point on_day(Day day) const { return {TimePrecision::day, day * seconds_in_day, 0, day, {}}; }

  Point at_instant(std::int64_t instant, TimePrecision precision) const {
    const int offset = change_.zone.offset_at(instant);
    const std::int64_t wall = instant + std::int64_t{offset} * 60;
    const Day day = day_of(wall);
    return {precision, instant, offset, day, {}};
  }

  Point at_wall(Day day, std::int64_t of_day, TimePrecision precision) const {
    const auto met = change_.zone.at_wall(day * seconds_in_day + of_day);
    Point point{precision, met.seconds, met.offset_minutes, day, {}};
    const auto clock = time_text(of_day, 0, TimePrecision::minute).substr(11, 5);
    if (met.clock == Zone::Clock::never) {
      point.note = clock + " does not come on " + day_text(day) + " (" + change_.zone_name +
                   "): the clock is put forward over it";
    } else if (met.clock == Zone::Clock::twice) {
      point.note = clock + " comes twice on " + day_text(day) + " (" + change_.zone_name +
                   "): the earlier one is meant here";
    }
    return point;
  }

  static std::string text(const Point& point) {
    if (point.precision == TimePrecision::day) return day_text(point.day);
    return time_text(point.seconds, point.offset, point.precision);
  }

  std::optional<Point> next_slot(const Slot& slot, std::vector<std::string> times, std::string_view name,
                                 const std::optional<Length>& gap, std::string_view gap_words,
                                 const std::optional<Time>& anchor) {
    if (!change_.time.has_clock() && times.size() > 1) {
      due_.why = "the change has no hour: which of the times of '" + std::string(name) +
                 "' come next cannot be told";
      return std::nullopt;
    }
    std::optional<Day> fixed;
    if (anchor && anchor->precision >= TimePrecision::day) fixed = days_since_epoch(*anchor);
    // Slots a day apart need no anchor: every day has them.
    const bool daily = !slot.by_weekday && !slot.step_in_months && slot.step == 1;
    std::optional<Point> first;
    for (Day tried = 0; tried <= most_days; ++tried) {
      const Day day = change_.day + tried;
      if (!daily && !falls_on(slot, day, fixed)) continue;
      if (times.empty() || !change_.time.has_clock()) {
        if (day <= change_.day) continue;
        return on_day(day);
      }
      for (const auto& time : times) {
        auto point = at_wall(day, clock_seconds(time), TimePrecision::minute);
        const std::int64_t wait = point.seconds - change_.instant;
        if (wait <= 0) continue;
        if (gap && wait < gap_seconds(*gap)) {
          due_.notes.push_back("the slot at " + text(point) + " comes " + minutes(wait) +
                               " after the change; the least gap of " + std::string(gap_words) +
                               " in the order leaves it out");
          continue;
        }
        if (wait < book_.whole(Limit::due_soon) * 60)
          due_.notes.push_back("the slot comes only " + minutes(wait) + " after the change");
        return point;
      }
    }
    due_.why = "no slot of '" + std::string(name) + "' comes within a year";
    return std::nullopt;
  }

 private:
  static constexpr Day most_days = 400;

  static std::string minutes(std::int64_t seconds) {
    return std::to_string(seconds / 60) + (seconds / 60 == 1 ? " minute" : " minutes");
  }

  std::int64_t gap_seconds(const Length& gap) {
    const auto point = after(gap, "the least gap");
    return point ? point->seconds - change_.instant : 0;
  }

  bool falls_on(const Slot& slot, Day day, const std::optional<Day>& fixed) const {
    if (slot.by_weekday)
      return std::find(slot.weekdays.begin(), slot.weekdays.end(), weekday(day)) != slot.weekdays.end();
    const Day from = fixed ? *fixed : change_.day;
    if (day < from || (!fixed && day == from)) return false;
    if (!slot.step_in_months) return (day - from) % slot.step == 0;
    for (std::int64_t months = 0; months <= 24; months += slot.step) {
      if (add_months(from, months) == day) return true;
    }
    return false;
  }

  const Change& change_;
  const RuleBook& book_;
  Due& due_;
};

const Quantity* quantity_of(const Value* value) {
  return value == nullptr || !value->is_leaf() ? nullptr : value->quantity;
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const auto& word : words) text.append(text.empty() ? "" : ", ").append(word);
  return text;
}

}  // namespace

Due next_due(const Record& record, const RuleBook& book, const std::optional<Time>& anchor) {
  Due due;
  const Value* repeat = record.at(FieldId::order_repeat);
  if (repeat == nullptr || repeat->form != record::Form::group) return due;
  if (book.in(WordSet::not_done,
              book.meaning(FieldId::performed_outcome, record.at(FieldId::performed_outcome))) ||
      !book.in(WordSet::dressing_changes,
               book.meaning(FieldId::performed_kind, record.at(FieldId::performed_kind)))) {
    return due;
  }
  auto start = Visit::time(record.at(FieldId::performed_start));
  if (!start) start = Visit::time(record.at(FieldId::performed_end));
  if (!start || start->precision < TimePrecision::day) return due;

  Change change;
  change.time = *start;
  const auto zone_name = record.text(FieldId::performed_zone);
  if (const auto zone = zone_name.empty() ? std::nullopt : Zone::named(zone_name)) {
    change.zone = *zone;
    change.zone_name = zone_name;
  } else {
    change.zone = Zone::fixed(start->offset_minutes);
    change.zone_name = "offset " + offset_text(start->offset_minutes);
    if (start->has_clock())
      due.notes.push_back("no time zone is charted: the offset " + offset_text(start->offset_minutes) +
                          " is kept, clock changes are not known");
  }
  if (start->has_clock()) {
    // The zone's own reading of that instant: the charted offset may be another one.
    change.instant = seconds_since_epoch(*start);
    change.wall = change.instant + std::int64_t{change.zone.offset_at(change.instant)} * 60;
    change.day = day_of(change.wall);
  } else {
    change.day = days_since_epoch(*start);
  }

  Arithmetic arithmetic(change, book, due);
  const auto refuse = [&] {
    due.kind = Due::untold;
    return due;
  };
  const auto limit_of = [&](FieldId id) -> std::optional<Length> {
    const auto* quantity = quantity_of(record::member(repeat, id));
    return quantity == nullptr ? std::nullopt : length_of(*quantity, book, due.why);
  };

  const auto latest = limit_of(FieldId::order_repeat_latestBy);
  if (!due.why.empty()) return refuse();
  const auto gap = limit_of(FieldId::order_repeat_minimumGap);
  if (!due.why.empty()) return refuse();
  if (latest) {
    if (const auto point = arithmetic.after(*latest, "the longest time")) {
      due.latest_by = Arithmetic::text(*point);
      if (!point->note.empty()) due.notes.push_back(point->note);
    } else {
      due.notes.push_back(std::exchange(due.why, {}));
    }
  }

  std::optional<Arithmetic::Point> found;
  if (const auto* every = quantity_of(record::member(repeat, FieldId::order_repeat_every))) {
    const auto length = length_of(*every, book, due.why);
    if (!length) return refuse();
    found = arithmetic.after(*length, "'" + shown(*every) + "'");
    if (!found) return refuse();
    due.rule = "every " + shown(*every) + " from the change";
  }

  const Value* slots = record::member(repeat, FieldId::order_repeat_slots);
  std::vector<std::string> times;
  if (const Value* at = record::member(repeat, FieldId::order_repeat_at);
      at != nullptr && at->form == record::Form::list) {
    for (std::uint32_t i = 0; i < at->count; ++i) {
      if (at->children[i] != nullptr && is_clocktime(at->children[i]->text))
        times.emplace_back(at->children[i]->text);
    }
    std::sort(times.begin(), times.end());
  }
  if (slots != nullptr || !times.empty()) {
    Slot slot;  // times alone: each day
    std::string name = "fixed times";
    if (slots != nullptr) {
      const auto* meant = book.meaning(FieldId::order_repeat_slots, slots);
      if (meant == nullptr) {
        due.why = "the slots '" + shown(meant, slots) + "' are not known";
        return refuse();
      }
      slot = *book.slot(meant);
      name = meant->word;
    }
    if (times.empty()) times = slot.times;
    const auto* gap_quantity = quantity_of(record::member(repeat, FieldId::order_repeat_minimumGap));
    const auto next = arithmetic.next_slot(slot, times, name, gap,
                                           gap_quantity == nullptr ? "" : shown(*gap_quantity), anchor);
    if (!next) return refuse();
    const std::string rule = "next slot of " + name + (times.empty() ? "" : " (" + joined(times) + ")");
    if (!found || next->seconds < found->seconds) found = next;
    due.rule = due.rule.empty() ? rule : due.rule + " or " + rule + ", whichever is first";
  }

  if (!found) {
    const Value* as_needed = record::member(repeat, FieldId::order_repeat_asNeeded);
    if (as_needed != nullptr && as_needed->text == "true") {
      due.kind = Due::as_needed;
      due.rule = "as needed only";
    }
    return due;
  }
  due.kind = Due::at;
  due.precision = found->precision;
  due.seconds = found->seconds;
  due.text = Arithmetic::text(*found);
  if (!found->note.empty()) due.notes.push_back(found->note);
  return due;
}

std::string_view in_words(const Due& due) {
  switch (due.kind) {
    case Due::at:
      return due.text;
    case Due::as_needed:
      return "as needed";
    case Due::untold:
      return "not told";
    case Due::no_order:
      break;
  }
  return "no order";
}

DueComparison compare_due(const Due& due, const Time& charted, const RuleBook& book) {
  DueComparison comparison;
  if (due.kind != Due::at) return comparison;
  const auto reading = parse_time(due.text);
  if (!reading) return comparison;
  comparison.comparable = true;
  if (reading.time.has_clock() && charted.has_clock()) {
    const auto apart = std::abs(seconds_since_epoch(charted) - seconds_since_epoch(reading.time));
    comparison.same = apart <= book.whole(Limit::due_tolerance) * 60;
  } else {
    const auto order = compare(reading.time, charted);
    comparison.same = order == std::partial_ordering::unordered || order == std::partial_ordering::equivalent;
  }
  return comparison;
}

std::string clock_change_at(const Time& time, std::string_view zone_name) {
  if (!time.has_clock()) return {};
  const auto zone = Zone::named(zone_name);
  if (!zone) return {};
  const auto wall = wall_seconds(time);
  const auto met = zone->at_wall(wall);
  const auto clock = std::string(time.text.substr(11, 5));
  const auto day = std::string(time.text.substr(0, 10));
  if (met.clock == Zone::Clock::never)
    return clock + " does not come on " + day + " in " + std::string(zone_name) +
           ": the clock is put forward over it";
  if (met.clock == Zone::Clock::twice)
    return clock + " comes twice on " + day + " in " + std::string(zone_name) + ": the clock is put back";
  return {};
}

}  // namespace charpie::rules
