// The first draft of a site's layout, from a sample: which column might be which field, and why; never
// decided in silence.
#pragma once
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "terms/terms.hpp"

namespace charpie::flow {

/// How sure a proposal is.
enum class Confidence : unsigned char { none, low, medium, high };
std::string_view confidence_name(Confidence confidence);

/// One column of the sample.
struct DraftColumn {
  std::string name;
  std::string field;   // proposed, or empty
  std::string reason;  // in plain words
  Confidence confidence = Confidence::none;
  std::string hole;   // what would stand in the template
  std::string table;  // of words, when the field is coded: its name
};

struct Draft {
  std::vector<DraftColumn> columns;
  std::map<std::string, std::string> files;  // name, text: set.json and tables of words
};

/// Drafts a layout for CSV with a header and one row a record, or for JSON objects one after another. What a
/// person must decide says DECLARE or DECIDE, and the draft is refused at load until somebody did.
/// Error::invalid for a sample that cannot be read.
Result<Draft> draft_layout(std::string_view sample, const terms::Terms& terms);

}  // namespace charpie::flow
