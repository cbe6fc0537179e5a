// The care given: technique against the order, the label, pain.
#include <algorithm>

#include "base/zone.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::member;
using record::Value;

namespace {

// Sterile or clean: each step must be as ordered. Wet to dry and its like: one step as ordered is enough.
void check_technique(Visit& visit) {
  const auto* ordered = visit.meaning(FieldId::order_technique);
  if (ordered == nullptr || !visit.done()) return;
  struct Steps {
    FieldId list, technique;
  };
  constexpr Steps steps[] = {{FieldId::cleansing, FieldId::cleansing_technique},
                             {FieldId::dressing, FieldId::dressing_technique}};
  for (const auto set : {WordSet::asepsis, WordSet::moisture}) {
    if (!visit.book.in(set, ordered)) continue;
    const terms::Concept* other = nullptr;
    const Value* place = nullptr;
    std::string path;
    bool as_ordered = false;
    for (const auto& [list, technique] : steps) {
      const auto entries = visit.elements(list);
      for (std::size_t i = 0; i < entries.size(); ++i) {
        const Value* value = member(entries[i], technique);
        const auto* done = visit.meaning(technique, value);
        if (!visit.book.in(set, done)) continue;
        if (done == ordered) {
          as_ordered = true;
        } else if (other == nullptr) {
          other = done;
          place = value;
          path = Visit::path(technique, i);
        }
      }
    }
    if (other != nullptr && (set == WordSet::asepsis || !as_ordered)) {
      visit.report(FindingId::technique_differs, path, place, {ordered->word, other->word});
    }
  }
}

int minutes_of_clock(std::string_view clock) {
  return (clock[0] - '0') * 600 + (clock[1] - '0') * 60 + (clock[3] - '0') * 10 + (clock[4] - '0');
}

// The label is written last: it may say any time from the start to a little after the end.
void check_label(Visit& visit) {
  const auto date = Visit::time(visit.at(FieldId::label_date));
  const auto clock = visit.record().text(FieldId::label_time);
  const auto& first = visit.first_time();
  if (!first || !visit.done()) return;
  const auto& last = visit.end() ? visit.end() : first;
  std::string said(date ? date->text : std::string_view{});
  if (!clock.empty()) said.append(said.empty() ? "" : " ").append(clock);
  const auto differ = [&] { visit.report(FindingId::label_differs, FieldId::label, {said, last->text}); };
  if (!clock.empty() && date && date->precision == TimePrecision::day && is_clocktime(clock) &&
      first->has_clock() && last->has_clock()) {
    const std::int64_t wall = days_since_epoch(*date) * 86400 + minutes_of_clock(clock) * 60;
    const std::int64_t tolerance = visit.book.whole(Limit::label_tolerance) * 60;
    const auto wall_of = [](const Time& time) {
      return seconds_since_epoch(time) + std::int64_t{time.offset_minutes} * 60;
    };
    if (wall < wall_of(*first) - tolerance || wall > wall_of(*last) + tolerance) differ();
    return;
  }
  if (!date || date->precision < TimePrecision::day || first->precision < TimePrecision::day) return;
  const auto day = days_since_epoch(*date);
  if (day < days_since_epoch(*first) || day > days_since_epoch(*last)) differ();
}

void check_pain(Visit& visit) {
  const Value* pain = visit.at(FieldId::pain);
  if (pain == nullptr || pain->form != record::Form::group) return;
  const auto* scale = visit.meaning(FieldId::pain_scale);
  const auto most = visit.book.pain_most(scale);
  for (const auto id : {FieldId::pain_before, FieldId::pain_during, FieldId::pain_after}) {
    const Value* value = member(pain, id);
    if (value == nullptr || !value->is_leaf() || !is_decimal(value->text)) continue;
    const bool below = sign(Decimal(value->text)) < 0;
    if (below || (!most.empty() && compare(Decimal(value->text), Decimal(most)) > 0)) {
      visit.report(FindingId::pain_out, id,
                   {value->text, scale == nullptr ? "any" : std::string_view(scale->word),
                    most.empty() ? "above" : most});
    }
    if (member(pain, FieldId::pain_scale) == nullptr) {
      visit.report(FindingId::pain_no_scale, id, {value->text});
      break;
    }
  }
}

}  // namespace

void check_care(Visit& visit) {
  check_technique(visit);
  check_label(visit);
  check_pain(visit);
}

}  // namespace charpie::rules
