// The first draft of a site's layout, from a sample: which column might be which field, and why; never
// decided in silence.
#pragma once
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "flow/sample.hpp"
#include "terms/terms.hpp"

namespace charpie::flow {

/// One thing seen in the sample: a file, a column, or a finding that rows are about.
struct DraftColumn {
  std::string name;
  std::string hole;    // what would stand in the template, or what the column is for; empty: it is left out
  std::string reason;  // in plain words
  Confidence confidence = Confidence::none;
};

struct Draft {
  std::vector<DraftColumn> columns;
  std::vector<std::string> missing;          // fields that a record needs and nothing was proposed for
  std::map<std::string, std::string> files;  // name, text: set.json and tables of words
};

/// Drafts a layout for CSV with a header: one row a visit, one row a finding (a key repeats, a column names
/// the finding, another holds the answer), or several files joined by a key; or, of one file alone, for JSON
/// objects one after another, or XML. `row` says what a row of the one CSV file is, where the guess is wrong.
/// What a person must decide says DECLARE or DECIDE, and the draft is refused at load until somebody did
/// (flow/undecided.hpp). Error::invalid for samples that cannot be read, or that nothing joins; it names the
/// file. Error::usage for a `row` beside other samples than one CSV file.
Result<Draft> draft_layout(std::span<const SampleFile> samples, const terms::Terms& terms,
                           Row row = Row::guess);

}  // namespace charpie::flow
