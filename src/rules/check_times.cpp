// When things happened: order of times, and what an outcome allows to be charted.
#include "base/zone.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::Form;
using record::Value;

namespace {

bool is_after(const std::optional<Time>& a, const std::optional<Time>& b) {
  return a && b && compare(*a, *b) == std::partial_ordering::greater;
}

void check_zone(Visit& visit) {
  const Value* name = visit.at(FieldId::performed_zone);
  if (name == nullptr || !name->is_leaf()) return;
  const auto zone = Zone::named(name->text);
  if (!zone) return visit.report(FindingId::zone_unknown, FieldId::performed_zone, {name->text});
  for (const auto id : {FieldId::performed_start, FieldId::performed_end}) {
    const auto time = Visit::time(visit.at(id));
    if (!time || !time->has_clock()) continue;
    const int offset = zone->offset_at(seconds_since_epoch(*time));
    if (offset != time->offset_minutes) {
      visit.report(FindingId::zone_offset_differs, id,
                   {name->text, offset_text(offset), offset_text(time->offset_minutes)});
    }
  }
}

void check_future(Visit& visit) {
  if (visit.options.as_of.empty()) return;
  const auto now = parse_time(visit.options.as_of);
  if (!now) return;
  for (const auto id :
       {FieldId::performed_start, FieldId::performed_end, FieldId::source_charted, FieldId::source_sent,
        FieldId::size_measuredAt, FieldId::wound_resolved, FieldId::wound_onset}) {
    const auto time = Visit::time(visit.at(id));
    if (!time || compare(*time, now.time) != std::partial_ordering::greater) continue;
    const bool within_skew = time->has_clock() && now.time.has_clock() &&
                             seconds_since_epoch(*time) - seconds_since_epoch(now.time) <=
                                 60 * visit.book.whole(Limit::future_skew);
    if (!within_skew) visit.report(FindingId::time_in_future, id, {time->text, now.time.text});
  }
}

// What a visit that was not done cannot have.
void check_not_done(Visit& visit) {
  if (visit.done()) return;
  for (const auto id : {FieldId::removed, FieldId::size, FieldId::cleansing, FieldId::dressing,
                        FieldId::packing, FieldId::label}) {
    const Value* value = visit.at(id);
    if (value == nullptr || value->form == Form::absent || value->form == Form::none) continue;
    visit.report(FindingId::not_done_but_charted, id, {record::field(id).name});
  }
}

}  // namespace

void check_times(Visit& visit) {
  const auto& start = visit.start();
  const auto& end = visit.end();
  const auto* outcome = visit.meaning(FieldId::performed_outcome);
  if (is_after(start, end))
    visit.report(FindingId::end_before_start, FieldId::performed_end, {end->text, start->text});
  check_zone(visit);
  check_future(visit);
  check_not_done(visit);
  if (visit.book.in(WordSet::unfinished, outcome) && visit.at(FieldId::performed_reason) == nullptr) {
    visit.report(FindingId::reason_missing, "performed.reason", visit.at(FieldId::performed_outcome),
                 {outcome->word});
  }

  const auto onset = Visit::time(visit.at(FieldId::wound_onset));
  const auto resolved = Visit::time(visit.at(FieldId::wound_resolved));
  if (is_after(onset, visit.first_time())) {
    visit.report(FindingId::onset_after_visit, FieldId::wound_onset, {onset->text, visit.first_time()->text});
  }
  if (is_after(onset, resolved))
    visit.report(FindingId::resolved_before_onset, FieldId::wound_resolved, {resolved->text, onset->text});
  if (visit.dressed() && is_after(start, resolved)) {
    visit.report(FindingId::resolved_but_dressed, FieldId::wound_resolved, {start->text, resolved->text});
  }
  const auto applied = Visit::time(visit.at(FieldId::removed_appliedAt));
  if (is_after(applied, start))
    visit.report(FindingId::applied_after_visit, FieldId::removed_appliedAt, {applied->text, start->text});
}

}  // namespace charpie::rules
