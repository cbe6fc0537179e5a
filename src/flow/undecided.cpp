#include "flow/undecided.hpp"

#include <algorithm>
#include <span>
#include <string>
#include <vector>

#include "base/text.hpp"

namespace charpie::flow {

namespace {

struct Mark {
  std::string file;
  std::size_t line = 0;
  std::string_view text;
};

// Of set.json, whose own words are never these, every line that holds a mark. A table of words holds the
// site's cells, which may say anything: there only a meaning is one.
bool holds_mark(std::string_view line, bool is_table) {
  if (is_table)
    return !line.starts_with('#') &&
           line.find("," + std::string(decide_mark) + ",") != std::string_view::npos;
  return line.find(declare_mark) != std::string_view::npos ||
         line.find(decide_mark) != std::string_view::npos;
}

}  // namespace

std::optional<Error> undecided(const Tables& tables, std::string_view folder) {
  std::vector<Mark> marks;
  for (const auto& file : tables.below(std::string(folder) + "/")) {
    std::string_view rest = file.text;
    for (std::size_t line = 1; !rest.empty(); ++line) {
      const auto end = std::min(rest.find('\n'), rest.size());
      const auto text = rest.substr(0, end);
      if (holds_mark(text, file.path.ends_with(".csv")))
        marks.push_back({std::string(file.path), line, trim(text)});
      rest.remove_prefix(std::min(end + 1, rest.size()));
    }
  }
  if (marks.empty()) return {};
  // set.json before the tables that it names.
  std::stable_partition(marks.begin(), marks.end(),
                        [](const Mark& one) { return one.file.ends_with("/set.json"); });
  const auto& first = marks.front();
  std::string mend = "decide it, and write that in its place";
  if (marks.size() > 1) mend += "; " + std::to_string(marks.size() - 1) + " more are left:";
  for (const auto& one : std::span(marks).subspan(1)) {
    mend += "\n  " + one.file + ':' + std::to_string(one.line) + ": " + std::string(one.text);
  }
  return Error{
      Error::mapping_broken, "is still to be decided: " + std::string(first.text), first.file, first.line, 0,
      std::move(mend)};
}

}  // namespace charpie::flow
