// From a record to its canonical text: the dictionary's order, no insignificant space, digits as charted.
// Reading that text gives the same record again.
#pragma once
#include <string>

#include "record/record.hpp"

namespace charpie::record {

/// Appends the record's canonical JSON (UTF-8, no line end) to `out`.
void write_record(const Record& record, std::string& out);

/// Appends one value of that field as it stands in the canonical text: `{"value":3.0,"unit":"cm"}`.
void write_value(const Field& shape, const Value& value, std::string& out);

}  // namespace charpie::record
