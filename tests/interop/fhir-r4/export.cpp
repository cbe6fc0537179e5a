// Writes generated wound visit records, one a line, for judges outside of the project.
//   interop_export N     the N records, out of some hundred generated ones, that together say the most
// The N say every field of the dictionary at least once, or the program fails and names the field.
#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <set>
#include <stdexcept>

#include "mapping/fhir.hpp"

using namespace charpie::tests;

namespace {

// Whether the visit ends before it starts, which blocks: no other judge would ever see such a record.
bool ends_before_start(const std::string& text) {
  const auto reading = read(text);
  const auto start = reading.record.text(charpie::record::FieldId::performed_start);
  const auto end = reading.record.text(charpie::record::FieldId::performed_end);
  return !start.empty() && !end.empty() &&
         std::is_lt(charpie::compare(charpie::parse_time(end).time, charpie::parse_time(start).time));
}

// The labels "path label" of one record.
std::set<std::string> said_by(const std::string& text) {
  Coverage coverage;
  coverage.count(read(text).record);
  std::set<std::string> labels;
  for (const auto& [label, count] : coverage.counts()) labels.insert(label);
  return labels;
}

// Greedy: always the record that adds most to what was said.
std::vector<std::string> most_telling(const std::vector<std::string>& records, std::size_t wanted) {
  std::vector<std::set<std::string>> labels;
  for (const auto& record : records) labels.push_back(said_by(record));
  std::set<std::string> said;
  std::vector<std::string> chosen;
  std::vector<bool> taken(records.size(), false);
  while (chosen.size() < std::min(wanted, records.size())) {
    std::size_t best = 0, most = 0;
    bool found = false;
    for (std::size_t i = 0; i < records.size(); ++i) {
      if (taken[i]) continue;
      std::size_t adds = 0;
      for (const auto& label : labels[i]) adds += said.contains(label) ? 0 : 1;
      if (!found || adds > most) {
        best = i;
        most = adds;
        found = true;
      }
    }
    taken[best] = true;
    said.insert(labels[best].begin(), labels[best].end());
    chosen.push_back(records[best]);
  }
  return chosen;
}

// The first field that no record gives a value; empty when there is none.
std::string never_said(const std::vector<std::string>& records) {
  std::set<std::string> valued;
  for (const auto& record : records) {
    for (const auto& label : said_by(record)) {
      const auto space = label.find(' ');
      const auto form = label.substr(space + 1);
      if (form == "form:value" || form.starts_with("form:list")) valued.insert(label.substr(0, space));
    }
  }
  for (const auto& field : charpie::record::dictionary().subspan(1)) {
    if (!valued.contains(std::string(field.path))) return std::string(field.path);
  }
  return {};
}

}  // namespace

int main(int argc, char** argv) try {
  const long wanted = argc == 2 ? std::strtol(argv[1], nullptr, 10) : 0;
  if (wanted < 1) {
    std::cerr << "usage: interop_export N\n";
    return 2;
  }
  GeneratorOptions options;
  options.words = real_words;
  Generator generator(20260303, options);
  auto generated = generator.covering(600);
  std::erase_if(generated, ends_before_start);
  const auto records = most_telling(generated, static_cast<std::size_t>(wanted));
  if (const auto field = never_said(records); !field.empty()) {
    std::cerr << "no record of these says " << field << '\n';
    return 1;
  }
  for (const auto& record : records) std::cout << record << '\n';
  return 0;
} catch (const std::exception& exception) {
  std::cerr << exception.what() << '\n';
  return 1;
}
