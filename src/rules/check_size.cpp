// Size as charted: what length, width, depth, area and volume can be of one another.
#include "rules/derived.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::Value;

namespace {

ExactDecimal hundred() {
  return ExactDecimal::from_integer(100);
}

// value > base * (100 + percent) / 100
bool is_above(const ExactDecimal& value, const ExactDecimal& base, const ExactDecimal& percent) {
  return (value * hundred()).compare(base * (hundred() + percent)) > 0;
}

// |value - base| > base * percent / 100
bool differs(const ExactDecimal& value, const ExactDecimal& base, const ExactDecimal& percent) {
  ExactDecimal gap = value - base;
  if (gap.sign() < 0) gap = base - value;
  return (gap * hundred()).compare(base * percent) > 0;
}

std::string charted(const Visit& visit, FieldId id) {
  return shown(*visit.at(id)->quantity);
}

void check_limit(Visit& visit, FieldId id, const std::optional<ExactDecimal>& amount, Limit limit) {
  if (!amount || amount->compare(visit.book.limit(limit)) <= 0) return;
  const auto& quantity = *visit.at(id)->quantity;
  visit.report(FindingId::size_too_large, id,
               {quantity.value, quantity.unit, visit.book.limit_value(limit), visit.book.limit_unit(limit)});
}

bool is_suspect_of_millimetres(const Visit& visit, FieldId id, const std::optional<ExactDecimal>& amount) {
  if (!amount || visit.at(id)->quantity->unit != "cm") return false;
  return amount->compare(visit.book.limit(Limit::millimetre_suspect)) >= 0 &&
         amount->text().find('.') == std::string::npos;
}

bool is_zero(const std::optional<ExactDecimal>& amount) {
  return amount && amount->sign() == 0;
}
bool is_positive(const std::optional<ExactDecimal>& amount) {
  return amount && amount->sign() > 0;
}

// What says that the wound is open, in words; empty when nothing does.
std::string open_sign(Visit& visit, const std::optional<ExactDecimal>& other,
                      const std::optional<ExactDecimal>& depth, const std::optional<ExactDecimal>& area) {
  if (is_positive(other)) return "the other of length and width is not";
  if (is_positive(depth)) return "the depth is not";
  if (is_positive(area)) return "the area is not";
  for (const Value* entry : visit.elements(FieldId::bed)) {
    const Value* tissue = record::member(entry, FieldId::bed_tissue);
    if (const auto* meant = visit.meaning(FieldId::bed_tissue, tissue);
        visit.book.in(WordSet::open_tissue, meant)) {
      return "the bed shows '" + meant->word + "'";
    }
  }
  return {};
}

void check_words(Visit& visit, FieldId id) {
  const Value* value = visit.at(id);
  if (value == nullptr || value->code == nullptr) return;
  const auto* object = visit.book.compared(value->code->text);
  if (object == nullptr) return;
  std::string estimate;
  if (!object->diameter_mm.empty()) estimate = " (about " + object->diameter_mm + " mm across, an estimate)";
  visit.report(FindingId::compared_with_object, id, {object->thing, estimate});
}

void check_age(Visit& visit) {
  const auto measured = Visit::time(visit.at(FieldId::size_measuredAt));
  const auto& at = visit.first_time();
  if (!measured || !at) return;
  const auto& last = visit.end() ? visit.end() : at;
  if (compare(*measured, *last) == std::partial_ordering::greater) {
    return visit.report(FindingId::size_later, FieldId::size_measuredAt, {measured->text, last->text});
  }
  const long long hours = (days_since_epoch(*at) - days_since_epoch(*measured)) * 24;
  const bool by_clock = measured->has_clock() && at->has_clock();
  const long long age = by_clock ? (seconds_since_epoch(*at) - seconds_since_epoch(*measured)) / 3600 : hours;
  if (ExactDecimal::from_integer(age).compare(visit.book.limit(Limit::old_size)) > 0) {
    visit.report(FindingId::size_old, FieldId::size_measuredAt, {measured->text, at->text});
  }
}

}  // namespace

void check_size(Visit& visit) {
  check_words(visit, FieldId::removed_drainage_amount);
  const Value* size = visit.at(FieldId::size);
  if (size == nullptr || size->form != record::Form::group) return;
  check_words(visit, FieldId::size_shape);
  check_words(visit, FieldId::size_depthDescription);
  check_age(visit);

  const auto length = visit.amount(FieldId::size_length);
  const auto width = visit.amount(FieldId::size_width);
  const auto depth = visit.amount(FieldId::size_depth);
  const auto area = visit.amount(FieldId::size_area);
  const auto volume = visit.amount(FieldId::size_volume);

  for (const auto& [id, amount, other] : {std::tuple(FieldId::size_length, &length, &width),
                                          std::tuple(FieldId::size_width, &width, &length)}) {
    if (!is_zero(*amount)) continue;
    const auto sign = open_sign(visit, *other, depth, area);
    if (!sign.empty()) visit.report(FindingId::size_zero_open, id, {record::field(id).name, sign});
  }
  check_limit(visit, FieldId::size_length, length, Limit::large_length);
  check_limit(visit, FieldId::size_width, width, Limit::large_length);
  check_limit(visit, FieldId::size_depth, depth, Limit::large_depth);
  check_limit(visit, FieldId::size_area, area, Limit::large_area);
  if (is_suspect_of_millimetres(visit, FieldId::size_length, length) &&
      is_suspect_of_millimetres(visit, FieldId::size_width, width) &&
      is_suspect_of_millimetres(visit, FieldId::size_depth, depth)) {
    visit.report(FindingId::size_millimetres, FieldId::size,
                 {visit.book.limit_value(Limit::millimetre_suspect)});
  }
  if (!length || !width) return;

  if (width->compare(*length) > 0) {
    if (visit.is(WordSet::greatest_method, FieldId::size_method)) {
      visit.report(FindingId::width_above_length, FieldId::size_width,
                   {charted(visit, FieldId::size_width), charted(visit, FieldId::size_length)});
    } else if (visit.is(WordSet::clock_method, FieldId::size_method)) {
      visit.report(FindingId::width_above_length_clock, FieldId::size_width,
                   {charted(visit, FieldId::size_width), charted(visit, FieldId::size_length)});
    }
  }
  const bool open = length->sign() > 0 && width->sign() > 0;
  const auto lesser = width->compare(*length) < 0 ? FieldId::size_width : FieldId::size_length;
  if (open && depth && depth->compare(width->compare(*length) < 0 ? *width : *length) > 0) {
    visit.report(FindingId::deeper_than_wide, FieldId::size_depth,
                 {charted(visit, FieldId::size_depth), charted(visit, lesser)});
  }
  if (!open || (!area && !volume)) return;

  const auto box = *length * *width;
  if (area) {
    const auto ellipse = ellipse_area(*length, *width, EllipseFactor::quarter_pi);
    if (is_above(*area, box, visit.book.limit(Limit::box_tolerance))) {
      visit.report(FindingId::area_above_box, FieldId::size_area,
                   {charted(visit, FieldId::size_area), box.text()});
    } else if (differs(*area, box, visit.book.limit(Limit::area_tolerance)) &&
               differs(*area, ellipse, visit.book.limit(Limit::area_tolerance))) {
      visit.report(FindingId::area_differs, FieldId::size_area,
                   {charted(visit, FieldId::size_area), box.text(), rounded(ellipse, 4)});
    }
  }
  if (volume && depth && depth->sign() > 0) {
    const auto whole = box * *depth;
    if (is_above(*volume, whole, visit.book.limit(Limit::volume_tolerance))) {
      visit.report(FindingId::volume_above_box, FieldId::size_volume,
                   {charted(visit, FieldId::size_volume), whole.text()});
    }
  }
}

}  // namespace charpie::rules
