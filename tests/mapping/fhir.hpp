// Records to FHIR and back, for tests: the real tables, loaded once.
#pragma once
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "fhir/elements.hpp"
#include "mapping/read.hpp"
#include "record/generate.hpp"
#include "record/reading.hpp"
#include "syntax/json.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::tests {

/// HL7's elements in a version, with the names that trees are read by.
struct LoadedElements {
  syntax::Names names{};
  fhir::Elements elements;
  LoadedElements(const Tables& tables, std::string_view form)
      : elements(std::move(fhir::Elements::load(
                               tables, form == "fhir-r5" ? fhir::Version::r5 : fhir::Version::r4, names))
                     .value()) {}
};

struct Loaded {
  Tables tables{embedded_tables()};
  terms::Terms terms = std::move(terms::Terms::load(tables)).value();
  units::Units units = std::move(units::Units::load(tables)).value();
  mapping::FixedUnits fixed = std::move(mapping::FixedUnits::load(tables, units)).value();
  std::unique_ptr<mapping::Mapping> mapping = load("fhir-r4");

  /// For a version of FHIR, to be written in either notation.
  std::unique_ptr<mapping::Mapping> load(std::string_view form) const {
    auto made = std::move(mapping::Mapping::load(tables, terms, fixed, "fhir", form)).value();
    made->lay_out_in_xml(LoadedElements(tables, form).elements);
    return made;
  }
};

inline const Loaded& loaded() {
  static const Loaded once;
  return once;
}

/// What reading gave back. Owns what the records look into.
struct Back {
  std::unique_ptr<const std::string> bytes;
  std::unique_ptr<Arena> arena = std::make_unique<Arena>();
  record::Findings findings{};
  std::vector<record::Record> records{};
  std::string broken{};

  std::set<std::string> slugs() const {
    std::set<std::string> all;
    for (const auto& finding : findings.all()) all.emplace(record::finding_kind(finding.id).slug);
    return all;
  }
  /// Findings as lines "slug path", for messages.
  std::string said() const {
    std::string text = broken;
    for (const auto& finding : findings.all()) {
      if (text.size() > 3000) break;
      text.append(record::finding_kind(finding.id).slug)
          .append(" ")
          .append(finding.path)
          .append(": ")
          .append(finding.message)
          .append("\n");
    }
    return text;
  }
  bool blocks() const {
    for (const auto& finding : findings.all()) {
      if (finding.blocks) return true;
    }
    return false;
  }
};

/// The mapping of another version of FHIR, loaded once.
inline const mapping::Mapping& mapping_of(std::string_view form) {
  static std::map<std::string, std::unique_ptr<mapping::Mapping>, std::less<>> others;
  if (form == "fhir-r4") return *loaded().mapping;
  auto& one = others[std::string(form)];
  if (one == nullptr) one = loaded().load(form);
  return *one;
}

/// HL7's elements in the version of a form, loaded once.
inline const fhir::Elements& elements_of(std::string_view form) {
  static std::map<std::string, std::unique_ptr<LoadedElements>, std::less<>> all;
  auto& one = all[std::string(form)];
  if (one == nullptr) one = std::make_unique<LoadedElements>(loaded().tables, form);
  return one->elements;
}

inline std::string to_fhir(const record::Record& record, const mapping::Options& options = {}) {
  mapping::Writer writer(*loaded().mapping, options);
  std::string out;
  writer.write_bundle(record, out);
  return out;
}

inline Back from_fhir(std::string_view bundle, const mapping::Options& options = {},
                      const mapping::Mapping& mapping = *loaded().mapping) {
  Back back{std::make_unique<const std::string>(bundle)};
  auto tree = syntax::read_json(*back.bytes, *back.arena, mapping.names());
  if (!tree) {
    back.broken = tree.error().message;
    return back;
  }
  mapping::Reader reader(mapping, options);
  back.findings.begin("bundle.json", {}, *back.bytes, 1);
  reader.read(**tree, *back.bytes, *back.arena, back.findings, back.records);
  return back;
}

/// Paths at which two records differ.
struct Differences : record::DifferenceSink {
  std::vector<std::string> paths;
  void differ(std::string_view path, const record::Value*, const record::Value*) override {
    paths.emplace_back(path);
  }
  std::string text() const {
    std::string all;
    for (const auto& path : paths) all += path + "\n";
    return all;
  }
};

/// The real words of a domain, for the generator.
inline std::vector<std::string> real_words(std::string_view domain) {
  std::vector<std::string> words;
  if (const auto* known = loaded().terms.domain(domain)) {
    for (const auto& one : known->concepts) words.push_back(one.word);
  }
  return words.empty() ? invented_words(domain) : words;
}

inline std::string file_text(const std::string& path) {
  std::ifstream in(std::string(CHARPIE_SOURCE_DIR) + "/" + path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

/// The records of a file, each as its bytes.
inline std::vector<std::string> records_of(const std::string& path) {
  const auto text = file_text(path);
  syntax::TextSource source(text);
  syntax::JsonStream stream(source);
  syntax::JsonPiece piece;
  std::vector<std::string> records;
  while (stream.next(piece)) {
    if (!piece.error) records.emplace_back(piece.bytes);
  }
  return records;
}

inline std::vector<std::string> hard_cases() {
  std::vector<std::string> files, records;
  for (const auto& entry : std::filesystem::directory_iterator(CHARPIE_SOURCE_DIR "/tests/cases/hard")) {
    if (entry.path().extension() == ".json") files.push_back(entry.path().filename().string());
  }
  std::sort(files.begin(), files.end());
  for (const auto& file : files) {
    for (auto& one : records_of("tests/cases/hard/" + file)) records.push_back(std::move(one));
  }
  return records;
}

inline bool long_run() {
  return std::getenv("CHARPIE_LONG") != nullptr;
}

}  // namespace charpie::tests
