// What a record cannot do without: for records that did not come as our own JSON, whose reader tells it
// itself.
#pragma once
#include "record/finding.hpp"
#include "record/record.hpp"

namespace charpie::record {

/// Reports (field.missing) each required field that is not there, in every group that is.
void report_missing(const Record& record, Findings& findings);

}  // namespace charpie::record
