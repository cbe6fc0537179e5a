// Following accessors and testing conditions against a record.
#pragma once
#include <array>
#include <cstdint>

#include "mapping/facet.hpp"
#include "mapping/part.hpp"

namespace charpie::mapping {

struct Options;

/// The levels that a hole looks at: the record and the elements of the loops around it. A coding when inside
/// a loop over further codings.
struct Scope {
  std::array<record::Value*, 4> level{};
  std::array<std::uint32_t, 4> index{};  // of the element in its list, for messages
  const record::Coding* coding = nullptr;
};

/// The value that an accessor leads to, or nullptr.
inline record::Value* follow(const Accessor& accessor, const Scope& scope) {
  record::Value* value = scope.level[accessor.level];
  for (std::uint8_t i = 0; i < accessor.steps; ++i) {
    if (value == nullptr || value->form != record::Form::group) return nullptr;
    value = value->children[accessor.slots[i]];
  }
  return value;
}
/// Whether a condition holds.
bool holds(const Condition& condition, const Scope& scope, const Options& options, Facets& facets);

}  // namespace charpie::mapping
