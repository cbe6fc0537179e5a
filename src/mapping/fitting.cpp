#include "mapping/fitting.hpp"

#include <algorithm>

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using record::Form;
using record::Kind;
using record::Value;

namespace {

// Those whose number and unit stand apart.
bool has_number(Kind kind) {
  return kind == Kind::quantity || kind == Kind::percent || kind == Kind::decimal || kind == Kind::any;
}

bool forbids(const Limit& limit, const Value& value, FieldId field, Facets& facets) {
  if (limit.spelled != nullptr || !limit.concerns(value.kind)) return false;
  const auto text = facets.get(&value, field, limit.facet, nullptr);
  if (text.empty()) return false;
  return !misfit(limit.render, text).empty() || !limit.allows(text);
}

}  // namespace

// A site's layout has words of its own for what it cannot spell (Writer::spell).
Fitting::Fitting(const Mapping& mapping)
    : mapping_(&mapping), concerned_(static_cast<std::size_t>(FieldId::count)) {
  if (mapping.is_document()) return;
  for (std::size_t i = 0; i < concerned_.size(); ++i) {
    const auto id = static_cast<FieldId>(i);
    if (!has_number(record::field(id).kind) || mapping.limits(id).empty()) continue;
    concerned_[i] = true;
    for (auto above = record::field(id).parent; above != FieldId::visit; above = record::field(above).parent)
      concerned_[static_cast<std::size_t>(above)] = true;
    concerned_[static_cast<std::size_t>(FieldId::visit)] = true;
  }
}

record::Record Fitting::of(const record::Record& record, Facets& facets) {
  record::Record held = record;
  if (concerned_[static_cast<std::size_t>(FieldId::visit)]) {
    arena_.reset();
    held.root = fitting(record.root, record::field(FieldId::visit), facets);
  }
  return held;
}

// The value itself when all of it fits, nullptr when nothing is left. Elements of a list stay, so that those
// behind them keep their places.
Value* Fitting::fitting(Value* value, const Field& field, Facets& facets) {
  if (value->is_leaf()) {
    const auto limits = mapping_->limits(field.id);
    const bool fits =
        !has_number(value->kind) || std::none_of(limits.begin(), limits.end(), [&](const Limit& limit) {
          return forbids(limit, *value, field.id, facets);
        });
    return fits ? value : nullptr;
  }
  Value* made = value;
  const auto put = [&](std::uint32_t place, Value* held) {
    if (held == value->children[place]) return;
    if (made == value) {
      made = arena_.make<Value>(*value);
      made->children = arena_.make_row<Value*>(value->count);
      std::copy_n(value->children, value->count, made->children);
    }
    made->children[place] = held;
  };
  if (value->form == Form::list) {
    for (std::uint32_t i = 0; i < value->count; ++i) {
      Value* const held = fitting(value->children[i], field, facets);
      put(i, held == nullptr ? value->children[i] : held);
    }
  } else if (value->form == Form::group) {
    for (auto id = field.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
      const Field& member = record::field(id);
      Value* const child = value->children[member.slot];
      if (child != nullptr && concerned_[static_cast<std::size_t>(id)])
        put(member.slot, fitting(child, member, facets));
    }
    const bool is_empty = std::all_of(made->children, made->children + made->count,
                                      [](const Value* child) { return child == nullptr; });
    if (made != value && is_empty) return nullptr;
  }
  return made;
}

}  // namespace charpie::mapping
