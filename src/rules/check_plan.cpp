// The next change as charted, against the order and the clock.
#include "rules/due.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;

void check_plan(Visit& visit) {
  const auto charted = Visit::time(visit.at(FieldId::plan_nextDue));
  if (!charted) return;
  const auto& first = visit.first_time();
  if (first && compare(*charted, *first) == std::partial_ordering::less) {
    return visit.report(FindingId::due_before_visit, FieldId::plan_nextDue, {charted->text, first->text});
  }
  if (const auto words = clock_change_at(*charted, visit.record().text(FieldId::performed_zone));
      !words.empty()) {
    visit.report(FindingId::due_ambiguous, FieldId::plan_nextDue, {words});
  }
  const auto due = next_due(visit.record(), visit.book);
  switch (due.kind) {
    case Due::at:
      if (!compare_due(due, *charted, visit.book).same) {
        visit.report(FindingId::due_differs, FieldId::plan_nextDue, {charted->text, due.text, due.rule});
      }
      break;
    case Due::as_needed:
      visit.report(FindingId::due_as_needed, FieldId::plan_nextDue, {charted->text});
      break;
    case Due::untold:
      visit.report(FindingId::due_not_told, FieldId::plan_nextDue, {due.why});
      break;
    case Due::no_order:
      break;
  }
}

}  // namespace charpie::rules
