// What holds the wound closed: counts, gaps, and a depth that a closed incision cannot have.
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::member;
using record::Value;

namespace {

bool is_positive(const std::optional<ExactDecimal>& number) {
  return number && number->sign() > 0;
}

}  // namespace

void check_closure(Visit& visit) {
  const auto entries = visit.elements(FieldId::closure);
  bool all_together = !entries.empty();
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const auto* method = visit.meaning(FieldId::closure_method, member(entries[i], FieldId::closure_method));
    const auto* edges =
        visit.meaning(FieldId::closure_approximation, member(entries[i], FieldId::closure_approximation));
    const Value* gap = member(entries[i], FieldId::closure_gap);
    const auto present = Visit::number(member(entries[i], FieldId::closure_present));
    const auto removed = Visit::number(member(entries[i], FieldId::closure_removed));
    if (visit.book.in(WordSet::left_open, method)) {
      for (const auto& [count, id] :
           {std::pair(present, FieldId::closure_present), std::pair(removed, FieldId::closure_removed)}) {
        if (is_positive(count))
          visit.report(FindingId::closure_open_count, Visit::path(id, i), member(entries[i], id),
                       {count->text()});
      }
    }
    if (visit.book.in(WordSet::counted_closures, method) && is_positive(present) &&
        visit.book.in(WordSet::edges_apart, edges) && gap == nullptr) {
      visit.report(FindingId::closure_gap_missing, Visit::path(FieldId::closure_gap, i), entries[i],
                   {method->word, edges->word});
    }
    all_together = all_together && visit.book.in(WordSet::edges_together, edges) &&
                   !is_positive(visit.amount(FieldId::closure_gap, gap));
  }
  const auto depth = visit.amount(FieldId::size_depth);
  if (all_together && is_positive(depth) && visit.is(WordSet::incisions, FieldId::wound_type)) {
    visit.report(FindingId::closure_deep, FieldId::size_depth,
                 {shown(*visit.at(FieldId::size_depth)->quantity)});
  }
}

}  // namespace charpie::rules
