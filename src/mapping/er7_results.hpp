// What HL7 version 2 itself says of an observation that a layout did not read: its result status.
#pragma once
#include <optional>
#include <string_view>

#include "record/finding.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

/// What to tell of an observation that was left, by its result status (OBX-11, HL7 table 0085).
struct LeftResult {
  record::FindingId id;
  std::string_view status;  // a view into the tree
};

/// For an OBX, or a group with one, of a grouped message (syntax/er7_groups.hpp). Nothing when it has no
/// status, or one by which it is an ordinary result.
std::optional<LeftResult> left_result(const syntax::Node& node);

}  // namespace charpie::mapping
