// The law of the mapping: read(write(record)) = record, token by token, and write(read(bundle)) = bundle,
// byte by byte, for what this program wrote.
#include <doctest/doctest.h>

#include "mapping/fhir.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

// What the writer announced that it cannot hold, and every difference outside of it.
std::string law_broken(const Reading& reading, const mapping::Options& options) {
  mapping::Writer writer(*loaded().mapping, options);
  record::Findings announced;
  announced.begin("visit.json", {}, *reading.bytes, 1);
  writer.check(reading.record, announced);
  std::string bundle;
  writer.write_bundle(reading.record, bundle);
  const auto back = from_fhir(bundle, options);
  if (back.records.size() != 1) return "not one record: " + back.said();
  Differences differences;
  record::compare(reading.record, back.records.front(), &differences);
  std::string broken;
  bool lost_something = false;
  for (const auto& path : differences.paths) {
    bool said = false;
    for (const auto& finding : announced.all())
      said = said || path.starts_with(finding.path) || finding.path.starts_with(path);
    lost_something = lost_something || said;
    if (!said) broken += "differs: " + path + "\n";
  }
  // A value that does not travel is not there to be copied either; apart from that nothing may be found.
  const bool held_all = std::none_of(announced.all().begin(), announced.all().end(), [](const auto& finding) {
    return finding.id == record::FindingId::not_in_form;
  });
  if (held_all && !lost_something) {
    if (!back.findings.all().empty()) broken += back.said();
    std::string again;
    writer.write_bundle(back.records.front(), again);
    if (again != bundle) broken += "the bytes differ\n";
  }
  return broken;
}

}  // namespace

TEST_CASE("the hard cases come back the same in every way of writing") {
  std::size_t count = 0;
  for (const auto& text : hard_cases()) {
    const auto reading = read(text);
    REQUIRE(reading.said() == "");
    CAPTURE(reading.record.text(record::FieldId::id));
    for (const auto* refs : {"identifier", "conditional", "include"}) {
      for (const auto* units : {"fixed", "charted"}) {
        for (const auto* pack : {"transaction", "collection"}) {
          mapping::Options options{refs, units, pack, "urn:uuid:00000000-0000-4000-8000-000000000001"};
          CAPTURE(refs);
          CAPTURE(units);
          CAPTURE(pack);
          CHECK(law_broken(reading, options) == "");
          ++count;
        }
      }
    }
  }
  CHECK(count >= 25 * 12);
}

TEST_CASE("the samples come back the same") {
  for (const auto* file :
       {"samples/visits.ndjson", "samples/one-visit.json", "samples/two-more-visits.json"}) {
    for (const auto& text : records_of(file)) {
      const auto reading = read(text);
      CAPTURE(reading.record.text(record::FieldId::id));
      CHECK(law_broken(reading, {}) == "");
    }
  }
}

TEST_CASE(
    "generated records come back the same: every field, kind, none, absence, list length, form of number and "
    "time") {
  GeneratorOptions options;
  options.words = real_words;
  Generator generator(20260302, options);
  Coverage coverage;
  const auto covering = generator.covering(300, &coverage);
  CHECK(covering.size() >= 300);
  std::size_t done = 0;
  const auto check = [&](const std::string& text, const mapping::Options& how) {
    const auto reading = read(text);
    REQUIRE(reading.said() == "");
    const auto broken = law_broken(reading, how);
    if (!broken.empty()) {
      CAPTURE(reading.record.text(record::FieldId::id));
      CHECK(broken == "");
    }
    ++done;
    return broken.empty();
  };
  const mapping::Options fixed{"identifier", "fixed", "transaction", "https://invented.example/ns"};
  const mapping::Options charted{"include", "charted", "collection", "https://invented.example/ns"};
  int failures = 0;
  for (const auto& text : covering) {
    if (failures > 3) break;
    if (!check(text, fixed)) ++failures;
    if (!check(text, charted)) ++failures;
  }
  const int wild = long_run() ? 20000 : 1000;
  for (int i = 0; i < wild && failures <= 3; ++i) {
    if (!check(generator.wild(i % 3 == 0 ? 60 : 25), i % 2 == 0 ? fixed : charted)) ++failures;
  }
  MESSAGE("records taken there and back: " << done);
}
