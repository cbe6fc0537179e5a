// Drafts of layouts for CSV: a row a visit, a row a finding, several files (flow/draft.hpp).
#pragma once
#include <span>

#include "flow/proposed_layout.hpp"

namespace charpie::flow {

/// A row is a visit.
Draft draft_of_visits(const SampleTable& table, const terms::Terms& terms, Surest& surest);
/// Several rows are a visit. Error::invalid for a key whose name a template cannot have.
Result<Draft> draft_of_rows(const SampleTable& table, RowShape shape, const terms::Terms& terms,
                            Surest& surest);
/// A visit has rows in several files. Errors as above.
Result<Draft> draft_of_files(std::span<const SampleTable> tables, const Join& join, const terms::Terms& terms,
                             Surest& surest);

}  // namespace charpie::flow
