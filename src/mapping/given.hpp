// Where the fields that a layout implies belong in a record: in each group that is there.
#pragma once
#include <functional>
#include <string>

#include "record/record.hpp"

namespace charpie::mapping {

/// Calls `use(group, field, path)` for each group that holds the field, or should: the elements of lists,
/// groups that are there, and with nullptr for a group that is not but is in every record (source, patient,
/// wound, performed).
void visit_given(record::Value* root, record::FieldId field,
                 const std::function<void(record::Value* group, const record::Field& field,
                                          const std::string& path)>& use);

}  // namespace charpie::mapping
