// FHIR JSON to FHIR XML and back, for judges from outside.
//   interop_xml to-xml|to-json r4|r5 FILE                  to standard output
//   interop_xml to-xml|to-json r4|r5 --into FOLDER FILE…   one file each, NAME.xml or NAME.json
// A file of several JSON lines gives one document a line number: NAME-3.xml. Says on standard error what was
// refused and what was odd; exit 1 then.
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

#include "fhir/xml.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;

namespace {

std::string text_of(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) throw std::runtime_error("cannot read " + file);
  std::ostringstream all;
  all << in.rdbuf();
  return all.str();
}

bool say(const std::string& file, const Error& error) {
  std::cerr << file << ":" << error.line << ":" << error.column << ": " << error.message << "\n";
  return false;
}

bool to_xml(const std::string& file, const std::string& text, const fhir::Elements& elements,
            std::string& out) {
  Arena arena;
  const auto tree = syntax::read_json(text, arena, elements.names());
  if (!tree) return say(file, tree.error());
  const auto done = fhir::to_xml(**tree, elements, out, text);
  return done ? true : say(file, done.error());
}

bool to_json(const std::string& file, const std::string& text, const fhir::Elements& elements,
             std::string& out) {
  Arena arena;
  const auto resource = fhir::read_xml(text, elements, arena);
  if (!resource) return say(file, resource.error());
  syntax::append_json(*resource->root, out);
  for (const auto& oddity : resource->oddities) {
    std::cerr << file << ": " << oddity.path << ": " << fhir::words_of(oddity.kind) << "\n";
  }
  return resource->oddities.empty();
}

}  // namespace

int main(int argc, char** argv) try {
  const std::vector<std::string> words(argv + 1, argv + argc);
  if (words.size() < 3 || (words[0] != "to-xml" && words[0] != "to-json") ||
      (words[1] != "r4" && words[1] != "r5")) {
    std::cerr << "interop_xml to-xml|to-json r4|r5 [--into FOLDER] FILE...\n";
    return 2;
  }
  const bool writes_xml = words[0] == "to-xml";
  syntax::Names names;
  names.add("resourceType");
  const Tables tables(embedded_tables());
  const auto elements =
      fhir::Elements::load(tables, words[1] == "r4" ? fhir::Version::r4 : fhir::Version::r5, names);
  if (!elements) return say(elements.error().file, elements.error()) ? 0 : 2;
  const bool into = words[2] == "--into";
  bool good = true;
  for (std::size_t i = into ? 4 : 2; i < words.size(); ++i) {
    const std::string text = text_of(words[i]);
    std::vector<std::string> documents;
    if (std::filesystem::path(words[i]).extension() == ".ndjson") {
      std::istringstream lines(text);
      for (std::string line; std::getline(lines, line);) documents.push_back(line);
    } else {
      documents.push_back(text);
    }
    for (std::size_t number = 0; number < documents.size(); ++number) {
      std::string out;
      const bool done = writes_xml ? to_xml(words[i], documents[number], *elements, out)
                                   : to_json(words[i], documents[number], *elements, out);
      good = good && done;
      if (!into) {
        std::cout << out << "\n";
      } else if (!out.empty()) {
        const std::string stem = std::filesystem::path(words[i]).stem().string() +
                                 (documents.size() > 1 ? "-" + std::to_string(number + 1) : "");
        std::ofstream(words[3] + "/" + stem + (writes_xml ? ".xml" : ".json"), std::ios::binary) << out;
      }
    }
  }
  return good ? 0 : 1;
} catch (const std::exception& error) {
  std::cerr << error.what() << "\n";
  return 2;
}
