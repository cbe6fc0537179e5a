#include "flow/draft.hpp"

#include <algorithm>

#include "flow/draft_tables.hpp"
#include "flow/draft_tree.hpp"

namespace charpie::flow {

namespace {

Error refuse(std::string message, std::string file, std::string mend) {
  return {Error::invalid, std::move(message), std::move(file), 1, 1, std::move(mend)};
}

// What a file begins with, white space and a byte-order mark apart.
std::string_view beginning_of(std::string_view text) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  return text.substr(std::min(text.find_first_not_of(" \t\r\n"), text.size()));
}

Result<Draft> draft_of_one(const SampleTable& table, Row row, const terms::Terms& terms, Surest& surest) {
  const auto shape = rows_of_visits(table, row);
  if (shape) return draft_of_rows(table, *shape, terms, surest);
  if (row == Row::finding) {
    return refuse("no column repeats whose rows could be the findings of one visit", table.file,
                  "leave --row finding away");
  }
  return draft_of_visits(table, terms, surest);
}

// First to see what speaks most for each field, then in earnest.
template <class Make>
Result<Draft> twice(const Make& make) {
  Surest surest;
  if (auto trial = make(surest); !trial) return trial;
  return make(surest);
}

}  // namespace

Result<Draft> draft_layout(std::span<const SampleFile> samples, const terms::Terms& terms, Row row) {
  std::vector<SampleTable> tables;
  for (const auto& sample : samples) {
    const auto begin = beginning_of(sample.text);
    const bool is_csv = !begin.starts_with("MSH") && begin.find_first_of("<{[") != 0;
    if (row != Row::guess && (samples.size() != 1 || !is_csv)) {
      return Error{Error::usage, "--row says what a row of one CSV file is", {}, 0, 0, "leave it away"};
    }
    if (begin.starts_with("MSH")) {
      return refuse(
          "a draft is made of CSV, JSON or XML, this is HL7 version 2", sample.name,
          "write set.json by mappings/README.md, from a layout of mappings/sites in the same syntax");
    }
    if (!is_csv) {
      if (samples.size() != 1)
        return refuse("several files are joined only where all are CSV", sample.name, "draft from it alone");
      const auto tree = read_sample_tree(sample);
      if (!tree) return tree.error();
      return twice([&](Surest& surest) -> Result<Draft> { return draft_of_tree(*tree, terms, surest); });
    }
    auto table = read_sample(sample);
    if (!table) return table.error();
    const auto same_name = [&](const SampleTable& one) { return one.file == table->file; };
    if (std::any_of(tables.begin(), tables.end(), same_name))
      return refuse("two files have this name, by which a layout tells them apart", sample.name,
                    "name one of them");
    if (!tables.empty() &&
        (table->delimiter != tables.front().delimiter || table->is_utf8 != tables.front().is_utf8)) {
      return refuse("its delimiter or its encoding is another than that of " + tables.front().file,
                    sample.name, "bring the files of one layout to one delimiter and one encoding");
    }
    tables.push_back(std::move(*table));
  }
  if (tables.size() == 1)
    return twice([&](Surest& surest) { return draft_of_one(tables.front(), row, terms, surest); });
  const auto joined = join(tables);
  if (!joined) return joined.error();
  return twice([&](Surest& surest) { return draft_of_files(tables, *joined, terms, surest); });
}

}  // namespace charpie::flow
