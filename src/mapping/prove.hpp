// The proofs over a mapping set, made at load, before any patient data flows.
#pragma once
#include "base/result.hpp"
#include "mapping/mapping.hpp"

namespace charpie::mapping {

/// Fills the reading index and the list of homes, and refuses the set (Error::mapping_broken with file, line
/// and mend) when: a code of ours stands on two templates; two templates are told apart by nothing; two items
/// of one list are; a field has no home and is not listed as not carried; a field has two homes that can be
/// written in the same instance set.
Outcome prove(Mapping& mapping);

/// Whether two parts can be told apart by constants that are always written.
bool distinguishable(const Part& a, const Part& b);

}  // namespace charpie::mapping
