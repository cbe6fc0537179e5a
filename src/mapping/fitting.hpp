// What of a record a form can hold. A number that the form cannot hold, or a unit that it has no place for,
// stays away with its whole quantity and its words: what is left would say something else, or nothing that
// can be read.
#pragma once
#include <vector>

#include "mapping/facet.hpp"
#include "mapping/mapping.hpp"

namespace charpie::mapping {

/// One for each thread; the mapping must outlive it.
class Fitting {
 public:
  explicit Fitting(const Mapping& mapping);
  /// The record without what stays away; what fits is not copied. Valid until the next call, as long as the
  /// record is.
  record::Record of(const record::Record& record, Facets& facets);

 private:
  record::Value* fitting(record::Value* value, const record::Field& field, Facets& facets);
  const Mapping* mapping_;
  std::vector<bool> concerned_;  // by field: it, or one below it, may have to stay away
  Arena arena_;
};

}  // namespace charpie::mapping
