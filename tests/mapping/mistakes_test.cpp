// A mistake in a mapping is refused at load, with file, line and what to do.
#include <doctest/doctest.h>

#include "mapping/fhir.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

// The real tables with one text replaced in one file.
Error refusal(std::string_view path, std::string_view from, std::string_view to) {
  std::string changed;
  std::vector<TableFile> files;
  for (const auto& file : embedded_tables()) {
    files.push_back(file);
    if (file.path != path) continue;
    changed = std::string(file.text);
    const auto at = changed.find(from);
    REQUIRE(at != std::string::npos);
    changed.replace(at, from.size(), to);
    files.back().text = changed;
  }
  const Tables tables(files);
  auto mapping = mapping::Mapping::load(tables, loaded().terms, loaded().fixed);
  if (mapping) return {Error::invalid, "was accepted"};
  return mapping.error();
}

struct Mistake {
  const char* what;
  const char* file;
  const char* from;
  const char* to;
  const char* says;
};

}  // namespace

TEST_CASE("each mistake in a mapping is refused") {
  static constexpr Mistake mistakes[] = {
      {"an unknown field", "fhir/visit.json", "{performed.kind as CodeableConcept}",
       "{performed.sort as CodeableConcept}", "unknown field 'performed.sort'"},
      {"a kind that does not fit", "fhir/findings.json", "\"valueQuantity\": \"{extent}\"",
       "\"valueQuantity\": \"{extent as ClockPosition}\"", "which ClockPosition does not hold"},
      {"a code on two templates", "fhir/orders.json", "\"code\": \"{own <name>, sct 18949003}\"",
       "\"code\": \"{own order, sct 18949003}\"", "cannot be told apart"},
      {"a missing home", "fhir/findings.csv",
       "trend,finding,trend,CodeableConcept,loinc 89253-9,visit,trend\n", "",
       "the field 'trend' has no home"},
      {"a missing home for none", "fhir/findings.csv",
       "securement.question,question-list,securement,,,visit,securement\n", "",
       "the field 'securement' has no home when it is"},
      {"two homes", "fhir/wound.json", "\"code\": \"{mirror wound.type}\"", "\"code\": \"{wound.type}\"",
       "the field 'wound.type' has two homes"},
      {"a home in a frame of many templates", "fhir/frames.json", "\"status\": \"{mirror status}\"",
       "\"status\": \"{status}\"", "the field 'status' has two homes"},
      {"items of a list that look alike", "fhir/procedures.json", "\"use\": \"skin-protection\"",
       "\"use\": \"securement\"", "two items of one list cannot be told apart"},
      {"a code nobody listed", "fhir/findings.csv", "loinc 89253-9", "loinc 89253-8",
       "is not in codes/standard.csv"},
      {"an own code without a name", "fhir/visit.json", "{own performed.kind}", "{own performed.sort}",
       "is not in codes/question.csv"},
      {"a frame that is not there", "fhir/findings.csv", "trend,finding,", "trend,findings,",
       "there is no frame 'findings'"},
      {"a template that is not there", "fhir/visit.json", "{ref procedure}", "{ref procedures}",
       "there is no template 'procedures'"},
      {"two templates of one name", "fhir/wound.json", "\"$name\": \"body\"", "\"$name\": \"wound\"",
       "two templates are named 'wound'"},
      {"a loop over what is no list", "fhir/procedures.json", "\"$for\": \"notes\"", "\"$for\": \"trend\"",
       "is not a list"},
      {"a list without a loop", "fhir/wound.json", "{mirror wound.stage}", "{mirror bed.tissue}",
       "is a list"},
      {"an open hole", "fhir/wound.json", "{mirror wound.stage}", "{mirror wound.stage",
       "a hole is not closed"},
      {"a test that is none", "fhir/wound.json", "\"(value)\"", "\"(valued)\"", "unknown test '(valued)'"},
      {"broken JSON", "fhir/wound.json", "\"stage\": [", "\"stage\": (", "not JSON"},
      {"a facet that the kind has not", "fhir/types.json",
       "\"value\": \"{.number as <number>}\", \"unit\": \"%\"", "\"value\": \"{.word}\", \"unit\": \"%\"",
       "has no '.word'"},
      {"a code without its comma", "fhir/visit.json", "{own visit, loinc 39135-9}",
       "{own visit loinc 39135-9}", "a code is a system and a code"},
      {"a member twice", "fhir/findings.json", "\"$without\": [\"code\"], ", "",
       "'code' can be written twice"},
      {"a form that the set has not", "fhir/set.json",
       "\"fhir-r4\": ", "\"fhir-r6\": ", "there is no form 'fhir-r4'"},
  };
  for (const auto& mistake : mistakes) {
    CAPTURE(mistake.what);
    const auto error = refusal(mistake.file, mistake.from, mistake.to);
    CHECK(error.kind == Error::mapping_broken);
    CHECK_MESSAGE(error.message.find(mistake.says) != std::string::npos, error.message);
    CHECK(!error.file.empty());
    CHECK(!error.mend.empty());
  }
}

TEST_CASE("a refusal names the line") {
  const auto error = refusal("fhir/wound.json", "{mirror wound.stage}", "{mirror wound.stages}");
  CHECK(error.file == "fhir/wound.json");
  const auto text = file_text("mappings/fhir/wound.json");
  const auto at = text.find("{mirror wound.stage}");
  CHECK(error.line == static_cast<std::size_t>(
                          std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n')) +
                          1);
}

TEST_CASE("what is wrong in a frame for one row is said at the row") {
  const auto error = refusal("fhir/findings.csv", "loinc 89253-9", "loinc 89253-8");
  CHECK(error.file == "fhir/findings.csv");
  const auto text = file_text("mappings/fhir/findings.csv");
  const auto at = text.find("loinc 89253-9");
  CHECK(error.line == static_cast<std::size_t>(
                          std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n')) +
                          1);
}
