// Drafts of layouts for JSON and XML: a template of the same shape as the documents (flow/draft.hpp).
#pragma once
#include "flow/proposed_layout.hpp"
#include "flow/sample_tree.hpp"

namespace charpie::flow {

/// Where a document holds a list that no list of the record is like, its elements are taken for records; of
/// several such lists the one with most fields.
Draft draft_of_tree(const SampleTree& sample, const terms::Terms& terms, Surest& surest);

}  // namespace charpie::flow
