// When the next dressing change is due, by the order: arithmetic on the order and the last actual change.
//
// Interval orders count from the time of the last change; slot orders go to the next slot after it. An early
// change restarts intervals and does not move slots. An order that is as needed only has no due time. The
// order and the clinician win; nothing charted is overwritten. Not a medical device.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.hpp"
#include "record/record.hpp"
#include "rules/rules.hpp"

namespace charpie::rules {

/// What the arithmetic gave.
struct Due {
  enum Kind {
    at,         // `text` holds the time
    as_needed,  // the order names no time
    no_order,   // there is no order.repeat, or no change to count from
    untold      // the order cannot be counted; `why` says the reason
  };
  Kind kind = no_order;
  std::string text{};  // in the record's grammar: a day, or a time with the offset of the zone
  TimePrecision precision = TimePrecision::day;
  std::int64_t seconds = 0;          // the instant, from the minute on; else midnight UTC of the day
  std::string latest_by{};           // by the order's longest time, or empty
  std::string rule{};                // the rule used, in words: "every 3 d from the change"
  std::vector<std::string> notes{};  // what a person must know: clock changes, a slot soon after the change
  std::string why{};
};

/// The due time after the change that the record tells of: nothing to count from when the visit was not done
/// or was no dressing change. `anchor` is the day that the same order gave before, for slots that lie more
/// than a day apart (an early change does not move them); nothing = counted from the change.
Due next_due(const record::Record& record, const RuleBook& book,
             const std::optional<Time>& anchor = std::nullopt);

/// The time, or why there is none: "as needed", "not told", "no order".
std::string_view in_words(const Due& due);

/// How a charted next due time stands to that of the order.
struct DueComparison {
  bool same = true;
  bool comparable = false;  // both are times
};
DueComparison compare_due(const Due& due, const Time& charted, const RuleBook& book);

/// What the clock on the wall does at a charted time, in words; empty when it does nothing unusual or the
/// time has no hour.
std::string clock_change_at(const Time& time, std::string_view zone_name);

}  // namespace charpie::rules
