// The code tables as they stand: complete for the dictionary, well formed, and read as the same concept in
// any form.
#include "terms/terms.hpp"

#include <doctest/doctest.h>

#include <set>
#include <string>
#include <utility>

#include "record/dictionary.hpp"

using namespace charpie;
using terms::Concept;
using terms::Direction;
using terms::Domain;
using terms::Terms;

namespace {

const std::string sct = "http://snomed.info/sct";

const Terms& loaded() {
  static const Terms terms = [] {
    auto result = Terms::load(Tables(embedded_tables()));
    if (!result) FAIL(result.error().file << ":" << result.error().line << ": " << result.error().message);
    return std::move(*result);
  }();
  return terms;
}

std::string word_of(const Concept* entry) {
  return entry == nullptr ? "(none)" : entry->word;
}

record::Code foreign(std::string_view system, std::string_view code) {
  record::Code value;
  value.foreign = {system, code, {}};
  return value;
}

record::Code local(std::string_view word) {
  record::Code value;
  value.word = word;
  return value;
}

}  // namespace

TEST_CASE("every domain of the dictionary has a table with words") {
  std::set<std::string> wanted = {"clock-position", "absent-reason", "list-none"};
  for (const auto& field : record::dictionary()) {
    if (field.kind == record::Kind::code || field.kind == record::Kind::word)
      wanted.insert(std::string(field.argument));
  }
  CHECK(wanted.size() > 40);
  for (const auto& name : wanted) {
    CAPTURE(name);
    const Domain* domain = loaded().domain(name);
    REQUIRE(domain != nullptr);
    CHECK(domain->name == name);
    CHECK(domain->system == "http://charpie.example/fhir/CodeSystem/" + name);
    CHECK_FALSE(domain->concepts.empty());
  }
  CHECK(loaded().domain("no-such-domain") == nullptr);
}

TEST_CASE("every word is found again after the tables have moved about") {
  auto first = Terms::load(Tables(embedded_tables()));
  REQUIRE(static_cast<bool>(first));
  Terms second = std::move(*first);
  const Terms third = std::move(second);
  std::size_t seen = 0;
  for (const auto& domain : third.domains()) {
    for (const auto& entry : domain.concepts) {
      CAPTURE(domain.name);
      CAPTURE(entry.word);
      REQUIRE(domain.find(entry.word) == &entry);
      CHECK(domain.concepts[entry.index].word == entry.word);
      CHECK_FALSE(entry.display.empty());
      ++seen;
    }
  }
  CHECK(seen > 500);
}

TEST_CASE("every standard code has its check digit, a display, a status and a source") {
  std::size_t checked = 0;
  const auto check = [&](const std::string& system, const std::string& code) {
    CAPTURE(code);
    if (system == sct) CHECK(terms::sct_check_digit(code));
    if (system == "http://loinc.org") CHECK(terms::loinc_check_digit(code));
    ++checked;
  };
  for (const auto& domain : loaded().domains()) {
    for (const auto& link : domain.links) {
      check(link.system, link.code);
      CHECK_FALSE(link.standard.empty());
      CHECK_FALSE(link.source.empty());
    }
  }
  for (const auto& [key, code] : loaded().standards()) {
    check(code.system, code.code);
    CHECK_FALSE(code.display.empty());
    CHECK_FALSE(code.use.empty());
    CHECK_FALSE(code.source.empty());
  }
  CHECK(checked > 400);
}

TEST_CASE("a code that is retired, disputed or of a national extension is never sent") {
  for (const auto& domain : loaded().domains()) {
    for (const auto& link : domain.links) {
      CAPTURE(domain.name);
      CAPTURE(link.code);
      if (link.direction == Direction::in) {
        CHECK(domain.concepts[link.index].code != link.code);
        continue;
      }
      CHECK((link.status == "two-sources" || link.status == "one-source"));
      // A SNOMED CT id with a namespace inside has partition 1x before its check digit.
      if (link.system == sct) CHECK(link.code[link.code.size() - 3] == '0');
    }
  }
}

TEST_CASE("a word, its standard code, a retired code and our own coding are one concept") {
  struct Case {
    const char *domain, *word, *sent, *read_only;
  };
  // Retired and successor concepts: SNOMED CT editorial guide 2026; sides: C-CDA, DICOM against the wound
  // guide's.
  for (const auto& c : {Case{"pressure-injury-stage", "stage-2", "1163220007", "420324007"},
                        Case{"pressure-injury-stage", "unstageable", "1163226001", "421594008"},
                        Case{"exudate-type", "serous", "447112000", "256913008"},
                        Case{"laterality", "left", "7771000", "31156008"},
                        Case{"laterality", "right", "24028007", "85421007"},
                        Case{"wound-type", "pressure-injury", "1163215007", "399912005"}}) {
    CAPTURE(c.word);
    const Domain& domain = *loaded().domain(c.domain);
    const Concept* by_word = domain.meaning(local(c.word));
    REQUIRE(by_word != nullptr);
    CHECK(by_word->code == c.sent);
    CHECK(by_word->system == sct);
    CHECK(domain.meaning(foreign(sct, c.sent)) == by_word);
    CHECK(domain.meaning(foreign(sct, c.read_only)) == by_word);
    CHECK(domain.meaning(foreign(domain.system, c.word)) == by_word);
  }
}

TEST_CASE("what no table knows means nothing, and is not guessed") {
  const Domain& types = *loaded().domain("exudate-type");
  CHECK(word_of(types.meaning(local("Serous"))) == "(none)");
  CHECK(word_of(types.meaning(foreign(sct, "447112001"))) == "(none)");
  CHECK(word_of(types.meaning(foreign("http://loinc.org", "447112000"))) == "(none)");
  CHECK(word_of(types.meaning(foreign("", "447112000"))) == "(none)");
  CHECK(word_of(types.meaning(record::Code{})) == "(none)");
  record::Code words_only;
  words_only.text = "serous";
  CHECK(word_of(types.meaning(words_only)) == "(none)");
}

TEST_CASE("a broader code is sent beside the word and not read as it") {
  const Domain& solutions = *loaded().domain("solution");
  const Concept* strength = solutions.find("sodium-chloride-0.9");
  REQUIRE(strength != nullptr);
  CHECK(strength->code == "373757009");
  CHECK(word_of(solutions.meaning(sct, "373757009")) == "saline");
  const Domain& closures = *loaded().domain("closure-method");
  CHECK(closures.find("tissue-adhesive")->code == "57126000");
  CHECK(word_of(closures.meaning(sct, "57126000")) == "(none)");
}

TEST_CASE("a code is read as one word only") {
  for (const auto& domain : loaded().domains()) {
    std::set<std::pair<std::string, std::string>> read;
    for (const auto& link : domain.links) {
      if (link.direction == Direction::out) continue;
      CAPTURE(domain.name);
      CAPTURE(link.code);
      CHECK(read.emplace(link.system, link.code).second);
      CHECK(domain.meaning(link.system, link.code) == &domain.concepts[link.index]);
    }
  }
}

TEST_CASE("standard questions are found by the short name of their system") {
  const auto* panel = loaded().standard("loinc", "72287-6");
  REQUIRE(panel != nullptr);
  CHECK(panel->system == "http://loinc.org");
  CHECK(panel->display == "Wound size panel");
  CHECK(loaded().standard("sct", "72287-6") == nullptr);
  CHECK(loaded().standard("loinc", "72287-7") == nullptr);
  REQUIRE(loaded().system("sct") != nullptr);
  CHECK(loaded().system("sct")->uri == sct);
  CHECK(loaded().system("nowhere") == nullptr);
  CHECK(loaded().canonical() == "http://charpie.example/fhir");
}
