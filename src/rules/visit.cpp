#include "rules/visit.hpp"

#include <array>

namespace charpie::rules {

using record::FieldId;
using record::Value;

namespace {

struct Reference {
  std::string_view dimension, unit;
};
// What amounts of each dimension are compared in.
constexpr std::array<Reference, 4> references = {{{"L", "cm"}, {"L2", "cm2"}, {"L3", "cm3"}, {"T", "h"}}};

}  // namespace

const UnitFacts& UnitMemory::facts(std::string_view unit) {
  if (last_facts_ != nullptr && last_ == unit) return *last_facts_;
  key_.assign(unit);
  auto found = known_.find(key_);
  if (found == known_.end()) {
    if (known_.size() >= most) known_.clear();
    UnitFacts facts;
    facts.valid = book_->units().valid(unit);
    if (facts.valid) {
      facts.dimension = book_->units().dimension(unit);
      facts.kind = book_->units().kind(unit);
      facts.warnings = book_->units().warnings(unit);
      for (const auto& reference : references) {
        if (!book_->units().measures(unit, reference.dimension)) continue;
        facts.is_reference = reference.unit == unit;
        if (auto converter = book_->units().converter(unit, reference.unit))
          facts.to_reference = std::move(*converter);
      }
    }
    found = known_.emplace(key_, std::move(facts)).first;
  }
  last_ = key_;
  last_facts_ = &found->second;
  return *last_facts_;
}

void Visit::begin(const record::Record& record, record::Findings& findings) {
  record_ = &record;
  findings_ = &findings;
  start_ = time(at(FieldId::performed_start));
  end_ = time(at(FieldId::performed_end));
  done_ = !is(WordSet::not_done, FieldId::performed_outcome);
  dressed_ = done_ && is(WordSet::dressing_changes, FieldId::performed_kind);
}

void Visit::report(record::FindingId id, std::string_view path, const Value* place,
                   std::initializer_list<std::string_view> values) {
  const auto& all = findings_->all();
  const auto key = record_->text(FieldId::id);
  for (auto earlier = all.rbegin(); earlier != all.rend() && earlier->record_key == key; ++earlier) {
    if (earlier->blocks && earlier->path == path && earlier->id < record::FindingId::code_own_system) return;
  }
  findings_->report(id, path, place == nullptr ? record_->root->offset : place->offset, values);
}

std::span<Value* const> Visit::elements(FieldId id) const {
  const Value* list = at(id);
  if (list == nullptr || list->form != record::Form::list) return {};
  return {list->children, list->count};
}

std::optional<ExactDecimal> Visit::amount(FieldId id, const Value* value) {
  if (value == nullptr || value->quantity == nullptr) return std::nullopt;
  const auto& quantity = *value->quantity;
  if (!quantity.comparator.empty() || !is_decimal(quantity.value)) return std::nullopt;
  const auto& facts = unit(quantity.unit);
  if (!facts.to_reference || !book.units().measures(quantity.unit, record::field(id).argument))
    return std::nullopt;
  if (facts.is_reference) {
    ExactDecimal exact(quantity.decimal());
    return exact.is_exact() ? std::optional(exact) : std::nullopt;
  }
  const auto converted = facts.to_reference->convert(quantity.value, units::Rounding::complete());
  if (!converted || !converted->exact) return std::nullopt;
  return ExactDecimal(Decimal(converted->text));
}

std::optional<ExactDecimal> Visit::number(const Value* value) {
  if (value == nullptr || !value->is_leaf() || !is_decimal(value->text)) return std::nullopt;
  ExactDecimal exact{Decimal(value->text)};
  return exact.is_exact() ? std::optional(exact) : std::nullopt;
}

std::optional<Time> Visit::time(const Value* value) {
  if (value == nullptr || !value->is_leaf() || value->kind != record::Kind::time) return std::nullopt;
  const auto reading = parse_time(value->text);
  return reading ? std::optional(reading.time) : std::nullopt;
}

std::string Visit::path(FieldId id, std::size_t index) {
  const auto& shape = record::field(id);
  std::string text;
  if (shape.parent != FieldId::visit) {
    const bool list_above = record::field(shape.parent).is_list();
    text = path(shape.parent, list_above ? index : npos);
    text += '.';
    if (list_above) index = npos;
  }
  text += shape.name;
  if (shape.is_list() && index != npos) {
    text += '[';
    text += std::to_string(index);
    text += ']';
  }
  return text;
}

std::string shown(const record::Quantity& quantity) {
  std::string text(quantity.comparator);
  text.append(quantity.value).append(" ").append(quantity.unit);
  return text;
}

std::string shown(const terms::Concept* meant, const Value* value) {
  if (meant != nullptr) return meant->word;
  if (value == nullptr || value->code == nullptr) return {};
  if (!value->code->text.empty()) return std::string(value->code->text);
  if (!value->code->foreign.display.empty()) return std::string(value->code->foreign.display);
  return std::string(value->code->foreign.code);
}

}  // namespace charpie::rules
