// Strict reading over many files: interop_strict r4|r5 [--all] [--times N] [--broken TABLE] FILE...
// Prints a line a finding of severity error (and with --all every finding), then what was read, by type; with
// --times N also how long strict reading of a file takes, the best of N. --broken names the examples that are
// known to break the rules (broken-examples.csv): what it lists is no false alarm, and must be found.
// Exit 1 when there is an error that it does not list, or when one that it lists is not found.
#include "fhir/strict.hpp"

#include <chrono>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <iterator>
#include <limits>
#include <map>
#include <set>
#include <string>

#include "syntax/csv.hpp"
#include "syntax/json.hpp"

using namespace charpie;

namespace {

double microseconds(std::chrono::steady_clock::duration span) {
  return std::chrono::duration<double, std::micro>(span).count();
}

std::string whole(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// Findings as the table writes them: file, slug and path.
using Known = std::set<std::string>;

Known read_broken(const std::string& file, std::string_view version) {
  const auto table = syntax::read_csv_table(whole(file), file);
  if (!table) {
    std::cerr << table.error().message << "\n";
    std::exit(2);
  }
  Known known;
  for (const auto& row : table->rows) {
    if (row.cells[0] == version) known.insert(row.cells[1] + "\t" + row.cells[2] + "\t" + row.cells[3]);
  }
  return known;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return 2;
  const auto version = std::string(argv[1]) == "r5" ? fhir::Version::r5 : fhir::Version::r4;
  const Tables tables(embedded_tables());
  syntax::Names names;
  const auto elements = fhir::Elements::load(tables, version, names);
  if (!elements) {
    std::cerr << elements.error().file << ": " << elements.error().message << "\n";
    return 2;
  }
  const fhir::StrictReader reader(*elements);
  bool all = false;
  int times = 0;
  std::map<std::string, int> by_type;
  std::size_t errors = 0, faulty = 0, entries = 0;
  Known known, met;
  Arena arena;
  for (int i = 2; i < argc; ++i) {
    const std::string file = argv[i];
    if (file == "--all") {
      all = true;
      continue;
    }
    if (file == "--times") {
      times = std::atoi(argv[++i]);
      continue;
    }
    if (file == "--broken") {
      known = read_broken(argv[++i], argv[1]);
      continue;
    }
    const std::string bytes = whole(file);
    arena.reset();
    const auto root = syntax::read_json(bytes, arena, names);
    if (!root) {
      std::cout << file << "\tjson.syntax\t" << root.error().message << "\n";
      ++errors;
      continue;
    }
    const auto* type = (*root)->member("resourceType");
    ++by_type[type == nullptr ? "?" : std::string(type->text)];
    if (const auto* list = (*root)->member("entry"); list != nullptr) entries += list->count;
    record::Findings findings;
    findings.begin(file, "", bytes, 1);
    reader.read(**root, findings);
    std::size_t here = 0;
    for (const auto& one : findings.all()) {
      const std::string slug(record::finding_kind(one.id).slug);
      const auto row = file.substr(file.rfind('/') + 1) + "\t" + slug + "\t" + one.path;
      if (known.contains(row)) {
        met.insert(row);
        continue;
      }
      const bool error = one.severity >= record::Severity::error;
      here += error;
      if (error || all)
        std::cout << file << ":" << one.line << "\t" << slug << "\t" << one.path << "\t" << one.message
                  << "\n";
    }
    errors += here;
    faulty += here > 0;
    double best_reading = std::numeric_limits<double>::max(), best_parsing = best_reading;
    for (int round = 0; round < times; ++round) {
      arena.reset();
      const auto start = std::chrono::steady_clock::now();
      const auto again = syntax::read_json(bytes, arena, names);
      const auto parsed = std::chrono::steady_clock::now();
      findings.clear();
      reader.read(**again, findings);
      best_parsing = std::min(best_parsing, microseconds(parsed - start));
      best_reading = std::min(best_reading, microseconds(std::chrono::steady_clock::now() - parsed));
    }
    if (times > 0)
      std::cout << file << "\t" << bytes.size() << " bytes\tJSON " << best_parsing << " us\tstrict reading "
                << best_reading << " us\n";
  }
  int read = 0;
  for (const auto& [type, count] : by_type) {
    std::cout << type << " " << count << ", ";
    read += count;
  }
  std::cout << "\n"
            << read << " files read with " << entries << " entries of Bundles, " << faulty << " with errors, "
            << errors << " errors, " << met.size() << " known\n";
  for (const auto& one : known) {
    if (!met.contains(one)) std::cout << "listed as broken, and not found: " << one << "\n";
  }
  return errors == 0 && met.size() == known.size() ? 0 : 1;
}
