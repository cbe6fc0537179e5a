// Which field each element of an instance came from, and which line of which mapping file put it there.
#pragma once
#include <string>
#include <vector>

#include "mapping/mapping.hpp"
#include "mapping/write.hpp"
#include "record/record.hpp"

namespace charpie::flow {

/// One element of the output.
struct ExplainedElement {
  std::size_t entry = 0;  // of the Bundle, from 0
  std::string resource_type;
  std::string element;              // below the entry's resource: valueQuantity.value; or below Bundle
  std::string value;                // as it stands, strings without quotes
  std::vector<std::string> fields;  // of the record; none for what is fixed or derived
  bool mirror = false;              // a copy of a field that has its home elsewhere
  bool derived = false;             // made from the source's keys: an id, an identifier, a reference
  std::string file;                 // the hole's line in the mapping, or the template's for what is fixed
  std::uint32_t line = 0;
};

/// Explains the Bundle that a record becomes, element by element in document order.
Result<std::vector<ExplainedElement>> explain_bundle(const record::Record& record,
                                                     const mapping::Mapping& mapping,
                                                     const mapping::Options& options);

}  // namespace charpie::flow
