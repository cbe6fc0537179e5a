// The law of the mapping: read(write(record)) = record, token by token, and write(read(bundle)) = bundle,
// byte by byte, for what this program wrote.
#include <doctest/doctest.h>

#include "fhir/xml.hpp"
#include "mapping/fhir.hpp"
#include "syntax/xml_write.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

// XML has a layout of its own, and is what the tree of the JSON would give. What XML cannot hold is refused
// either way. Counts what was written.
std::string xml_broken(const record::Record& record, const std::string& bundle,
                       const mapping::Options& options, std::string_view form,
                       std::size_t* written = nullptr) {
  const auto& elements = elements_of(form);
  Arena arena;
  const auto tree = syntax::read_json(bundle, arena, elements.names());
  std::string of_tree, xml(syntax::xml_declaration);
  if (!tree) return tree.error().message;
  const bool holds = bool(fhir::to_xml(**tree, elements, of_tree));
  const auto mark = xml.size();
  if (!mapping::Writer(mapping_of(form), options, mapping::Notation::xml).write_bundle(record, xml)) {
    if (xml.size() != mark) return "something was written all the same\n";
    return holds ? "XML was not written, but could be\n" : "";
  }
  if (written != nullptr) ++*written;
  if (xml == of_tree) return "";
  const auto at = static_cast<std::size_t>(
      std::mismatch(xml.begin(), xml.end(), of_tree.begin(), of_tree.end()).first - xml.begin());
  const auto around = [&](const std::string& text) { return text.substr(at < 80 ? 0 : at - 80, 200); };
  return "XML is otherwise than the tree gives it:\n" + around(xml) + "\n" + around(of_tree) + "\n";
}

// What the writer announced that it cannot hold, and every difference outside of it.
std::string law_broken(const Reading& reading, const mapping::Options& options,
                       std::string_view form = "fhir-r4") {
  const auto& mapping = mapping_of(form);
  mapping::Writer writer(mapping, options);
  record::Findings announced;
  announced.begin("visit.json", {}, *reading.bytes, 1);
  writer.check(reading.record, announced);
  std::string bundle;
  writer.write_bundle(reading.record, bundle);
  const auto back = from_fhir(bundle, options, mapping);
  if (back.records.size() != 1) return "not one record: " + back.said();
  Differences differences;
  record::compare(reading.record, back.records.front(), &differences);
  std::string broken = xml_broken(reading.record, bundle, options, form);
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

TEST_CASE("the law holds in each version of FHIR") {
  GeneratorOptions options;
  options.words = real_words;
  Generator generator(20260418, options);
  auto texts = generator.covering(long_run() ? 1000 : 100);
  for (auto& one : hard_cases()) texts.push_back(std::move(one));
  for (auto& one : records_of("samples/visits.ndjson")) texts.push_back(std::move(one));
  for (const auto* form : {"fhir-r4b", "fhir-r5"}) {
    CAPTURE(form);
    int failures = 0;
    for (std::size_t i = 0; i < texts.size() && failures < 4; ++i) {
      const auto reading = read(texts[i]);
      const mapping::Options how{i % 2 == 0 ? "identifier" : "include", i % 3 == 0 ? "charted" : "fixed",
                                 i % 2 == 0 ? "transaction" : "collection", "https://invented.example/ns"};
      const auto broken = law_broken(reading, how, form);
      CAPTURE(reading.record.text(record::FieldId::id));
      CHECK(broken == "");
      failures += broken.empty() ? 0 : 1;
    }
  }
}

TEST_CASE("a record goes through R4, R5 and R4 again the same") {
  std::size_t done = 0;
  for (const auto& text : records_of("samples/visits.ndjson")) {
    const auto reading = read(text);
    CAPTURE(reading.record.text(record::FieldId::id));
    const auto r4 = to_fhir(reading.record);
    const auto back = from_fhir(r4);
    REQUIRE(back.records.size() == 1);
    mapping::Writer writer(mapping_of("fhir-r5"), {});
    std::string r5;
    writer.write_bundle(back.records.front(), r5);
    // Names that only R5 has.
    CHECK(r5.find(reading.record.text(record::FieldId::performed_end).empty()
                      ? "\"occurrenceDateTime\""
                      : "\"occurrencePeriod\"") != std::string::npos);
    CHECK(r5.find("\"performedPeriod\"") == std::string::npos);
    CHECK(r5.find("\"performedDateTime\"") == std::string::npos);
    const auto again = from_fhir(r5, {}, mapping_of("fhir-r5"));
    CHECK(again.said() == "");
    REQUIRE(again.records.size() == 1);
    CHECK(to_fhir(again.records.front()) == r4);
    ++done;
  }
  CHECK(done == 33);
}

TEST_CASE("every sample is written in XML, in each version and however it is sent") {
  for (const auto* form : {"fhir-r4", "fhir-r4b", "fhir-r5"}) {
    CAPTURE(form);
    std::size_t records = 0, written = 0;
    for (const auto& text : records_of("samples/visits.ndjson")) {
      const auto reading = read(text);
      for (const auto* refs : {"identifier", "conditional", "include"}) {
        for (const auto* units : {"fixed", "charted"}) {
          for (const auto* pack : {"transaction", "batch", "collection"}) {
            mapping::Options options{refs, units, pack, "https://invented.example/ns"};
            options.labels = {"HTEST"};
            options.stamp = "2026-04-18T10:00:00Z";
            options.on_repeat["Condition"] = mapping::Repeat::update;
            mapping::Writer writer(mapping_of(form), options);
            std::string bundle;
            writer.write_bundle(reading.record, bundle);
            CHECK(xml_broken(reading.record, bundle, options, form, &written) == "");
            ++records;
          }
        }
      }
    }
    CHECK(records > 0);
    CHECK(written == records);
  }
}
