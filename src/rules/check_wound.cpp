// The wound: bed, spaces, drainage, signs, stage and side.
#include <algorithm>

#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::Form;
using record::member;
using record::Value;

namespace {

bool says_something(const Value* value) {
  return value != nullptr && value->form != Form::absent && value->form != Form::none;
}
bool is_flag(const Value* value, std::string_view wanted) {
  return value != nullptr && value->is_leaf() && value->text == wanted;
}

// bed and bedColor are alike: an entry names something and says its share.
void check_shares(Visit& visit, FieldId list, FieldId named, FieldId share) {
  const auto entries = visit.elements(list);
  ExactDecimal sum;
  std::size_t with_share = 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    if (const auto percent = Visit::number(member(entries[i], share))) {
      sum = sum + *percent;
      ++with_share;
    }
    const auto* meant = visit.meaning(named, member(entries[i], named));
    if (meant == nullptr) continue;
    for (std::size_t earlier = 0; earlier < i; ++earlier) {
      if (visit.meaning(named, member(entries[earlier], named)) != meant) continue;
      visit.report(FindingId::bed_twice, Visit::path(named, i), member(entries[i], named), {meant->word});
      break;
    }
  }
  if (with_share == 0) return;
  const auto whole = ExactDecimal::from_integer(100);
  if (sum.compare(whole + visit.book.limit(Limit::bed_excess)) > 0) {
    visit.report(FindingId::bed_sum_above, list, {sum.text()});
  } else if (with_share == entries.size() &&
             sum.compare(whole - visit.book.limit(Limit::bed_tolerance)) < 0) {
    visit.report(FindingId::bed_sum, list, {sum.text()});
  }
}

void check_spaces(Visit& visit) {
  const auto spaces = visit.elements(FieldId::spaces);
  for (std::size_t i = 0; i < spaces.size(); ++i) {
    const Value* extent = member(spaces[i], FieldId::spaces_extent);
    const Value* from = member(spaces[i], FieldId::spaces_from);
    const Value* kind = member(spaces[i], FieldId::spaces_kind);
    const auto what = shown(visit.meaning(FieldId::spaces_kind, kind), kind);
    if (extent == nullptr)
      visit.report(FindingId::space_incomplete, Visit::path(FieldId::spaces_extent, i), spaces[i],
                   {what, "its depth or length"});
    if (from == nullptr)
      visit.report(FindingId::space_incomplete, Visit::path(FieldId::spaces_from, i), spaces[i],
                   {what, "its clock position"});
    if (const auto amount = visit.amount(FieldId::spaces_extent, extent);
        amount && amount->compare(visit.book.limit(Limit::long_space)) > 0) {
      visit.report(FindingId::space_too_long, Visit::path(FieldId::spaces_extent, i), extent,
                   {extent->quantity->value, extent->quantity->unit,
                    visit.book.limit_value(Limit::long_space), visit.book.limit_unit(Limit::long_space)});
    }
  }
}

struct DrainageFields {
  FieldId group, present, amount, type, color, volume;
};
constexpr DrainageFields drainage_now = {FieldId::drainage,        FieldId::drainage_present,
                                         FieldId::drainage_amount, FieldId::drainage_type,
                                         FieldId::drainage_color,  FieldId::drainage_volume};
// The old dressing has neither the flag nor a volume.
constexpr DrainageFields drainage_before = {FieldId::removed_drainage,        FieldId::visit,
                                            FieldId::removed_drainage_amount, FieldId::removed_drainage_type,
                                            FieldId::removed_drainage_color,  FieldId::visit};

void check_drainage(Visit& visit, const DrainageFields& fields) {
  const Value* group = visit.at(fields.group);
  if (group == nullptr || group->form != Form::group) return;
  const auto at = [&](FieldId id) { return id == FieldId::visit ? nullptr : member(group, id); };
  const Value* amount = at(fields.amount);
  const bool amount_is_none = visit.is(WordSet::no_amount, fields.amount, amount);
  const bool none = amount_is_none || is_flag(at(fields.present), "false");
  if (none) {
    const auto contradicts = [&](const Value* value, FieldId id) {
      visit.report(FindingId::drainage_contradicts, Visit::path(id), value, {record::field(id).name});
    };
    if (is_flag(at(fields.present), "true")) contradicts(at(fields.present), fields.present);
    if (!amount_is_none && says_something(amount)) contradicts(amount, fields.amount);
    for (const auto id : {fields.type, fields.color}) {
      if (says_something(at(id))) contradicts(at(id), id);
    }
    if (const auto volume = visit.amount(fields.volume, at(fields.volume)); volume && volume->sign() > 0)
      contradicts(at(fields.volume), fields.volume);
  } else if (says_something(amount) && at(fields.type) == nullptr) {
    visit.report(FindingId::drainage_type_missing, Visit::path(fields.type), amount, {});
  }
}

void check_dry_dressing(Visit& visit) {
  if (!visit.is(WordSet::much_amount, FieldId::drainage_amount)) return;
  for (const Value* state : visit.elements(FieldId::removed_state)) {
    const auto* meant = visit.meaning(FieldId::removed_state, state);
    if (!visit.book.in(WordSet::dry_dressing, meant)) continue;
    return visit.report(FindingId::drainage_dressing_dry, FieldId::drainage_amount,
                        {meant->word, visit.meaning(FieldId::drainage_amount)->word});
  }
}

void check_signs(Visit& visit) {
  // On the old dressing or in the wound now: the odor is often gone after cleansing.
  const terms::Concept* type = nullptr;
  FieldId type_field = FieldId::visit;
  for (const auto id : {FieldId::removed_drainage_type, FieldId::drainage_type}) {
    if (!visit.is(WordSet::purulent, id)) continue;
    type = visit.meaning(id);
    type_field = id;
  }
  const auto smells = [&](FieldId id) {
    const auto* odor = visit.meaning(id);
    return odor != nullptr && !visit.book.in(WordSet::no_odor, odor);
  };
  if (type == nullptr || (!smells(FieldId::drainage_odor) && !smells(FieldId::removed_drainage_odor))) return;
  std::string signs;
  const auto add = [&](std::string_view word) {
    if (signs.find(word) == std::string::npos) signs.append(signs.empty() ? "" : ", ").append(word);
  };
  for (const Value* entry : visit.elements(FieldId::periwound)) {
    const auto* meant = visit.meaning(FieldId::periwound_finding, member(entry, FieldId::periwound_finding));
    if (is_flag(member(entry, FieldId::periwound_present), "true") &&
        visit.book.in(WordSet::inflamed_skin, meant))
      add(meant->word);
  }
  for (const Value* sign : visit.elements(FieldId::infectionSigns)) {
    const auto* meant = visit.meaning(FieldId::infectionSigns, sign);
    if (visit.book.in(WordSet::inflammation_signs, meant)) add(meant->word);
  }
  if (!signs.empty()) visit.report(FindingId::signs_together, type_field, {type->word, signs});
}

// What the bed shows: whether anything covers it, all of it, or nothing but open tissue.
struct Bed {
  bool charted = false, any_cover = false, all_cover = false;
  const terms::Concept* open = nullptr;
};
Bed bed_of(Visit& visit) {
  Bed bed;
  for (const Value* entry : visit.elements(FieldId::bed)) {
    const auto* tissue = visit.meaning(FieldId::bed_tissue, member(entry, FieldId::bed_tissue));
    if (tissue == nullptr) continue;
    const auto share = Visit::number(member(entry, FieldId::bed_percent));
    if (share && share->sign() == 0) continue;
    const bool covers = visit.book.in(WordSet::covering_tissue, tissue);
    bed.all_cover = covers && (bed.all_cover || !bed.charted);
    bed.any_cover = bed.any_cover || covers;
    bed.charted = true;
    if (bed.open == nullptr && visit.book.in(WordSet::open_tissue, tissue)) bed.open = tissue;
  }
  return bed;
}

void check_stage(Visit& visit) {
  const Value* stage_value = visit.at(FieldId::wound_stage);
  const auto* stage = visit.meaning(FieldId::wound_stage);
  const auto* type = visit.meaning(FieldId::wound_type);
  if (!says_something(stage_value)) return;
  if (type != nullptr && !visit.book.in(WordSet::pressure_wounds, type)) {
    visit.report(FindingId::stage_not_pressure, FieldId::wound_stage,
                 {shown(stage, stage_value), type->word});
  }
  if (stage == nullptr) return;
  const auto bed = bed_of(visit);
  if (visit.book.in(WordSet::unstageable, stage) && bed.charted && !bed.any_cover) {
    visit.report(FindingId::unstageable_open, FieldId::wound_stage, {});
  }
  if (visit.book.in(WordSet::deep_stages, stage) && bed.all_cover) {
    visit.report(FindingId::bed_covered, FieldId::wound_stage, {stage->word});
  }
  if (visit.book.in(WordSet::intact_skin_stages, stage)) {
    const auto depth = visit.amount(FieldId::size_depth);
    if (depth && depth->sign() > 0) {
      visit.report(FindingId::intact_but_deep, FieldId::wound_stage,
                   {stage->word, "a depth of " + shown(*visit.at(FieldId::size_depth)->quantity)});
    } else if (bed.open != nullptr) {
      visit.report(FindingId::intact_but_deep, FieldId::wound_stage,
                   {stage->word, "'" + bed.open->word + "' in the bed"});
    }
  }
}

// Whether a text holds the word, in any case, alone.
bool has_word(std::string_view text, std::string_view word) {
  const auto is_letter = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c & 0x80) != 0;
  };
  for (std::size_t at = 0; at + word.size() <= text.size(); ++at) {
    if (at > 0 && is_letter(text[at - 1])) continue;
    if (at + word.size() < text.size() && is_letter(text[at + word.size()])) continue;
    const bool same = std::equal(
        word.begin(), word.end(), text.begin() + static_cast<std::ptrdiff_t>(at),
        [](char w, char c) { return w == (c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c); });
    if (same) return true;
  }
  return false;
}

// A side is never taken from words; but words that say the other side are a contradiction.
void check_side(Visit& visit) {
  const auto* side = visit.meaning(FieldId::wound_side);
  const bool left = visit.book.in(WordSet::left_side, side);
  if (!left && !visit.book.in(WordSet::right_side, side)) return;
  const auto* site = visit.meaning(FieldId::wound_site);
  if (visit.book.in(WordSet::midline_sites, site))
    visit.report(FindingId::side_midline, FieldId::wound_side, {side->word, site->word});
  const Value* site_value = visit.at(FieldId::wound_site);
  if (site_value == nullptr || site_value->code == nullptr) return;
  const std::string_view own = left ? "left" : "right";
  const std::string_view other = left ? "right" : "left";
  for (const auto text : {site_value->code->text, site_value->code->foreign.display}) {
    if (has_word(text, other) && !has_word(text, own))
      return visit.report(FindingId::side_words, FieldId::wound_side, {side->word, text});
  }
}

}  // namespace

void check_wound(Visit& visit) {
  check_shares(visit, FieldId::bed, FieldId::bed_tissue, FieldId::bed_percent);
  check_shares(visit, FieldId::bedColor, FieldId::bedColor_color, FieldId::bedColor_percent);
  check_spaces(visit);
  check_drainage(visit, drainage_now);
  check_drainage(visit, drainage_before);
  check_dry_dressing(visit);
  check_signs(visit);
  check_stage(visit);
  check_side(visit);
}

}  // namespace charpie::rules
