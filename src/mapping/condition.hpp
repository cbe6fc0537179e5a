// Following accessors and testing conditions against a record.
#pragma once
#include "mapping/facet.hpp"
#include "mapping/part.hpp"

namespace charpie::mapping {

struct Scope;
struct Options;

/// The value that an accessor leads to, or nullptr.
record::Value* follow(const Accessor& accessor, const Scope& scope);
/// Whether a condition holds.
bool holds(const Condition& condition, const Scope& scope, const Options& options, Facets& facets);

}  // namespace charpie::mapping
