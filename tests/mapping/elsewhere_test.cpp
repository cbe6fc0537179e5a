// Wound findings as others send them. The cases are invented instances in shapes that were read in public
// sources: HL7's lower-extremity wound guide (draft of 2020), the Dutch zib Wound of 2020 (a dimension each),
// the Danish eHealth wound dimensions (a method beside each), US Core 9 (simple observations), FHIR R4
// Bundles of several types.
#include <doctest/doctest.h>

#include <algorithm>

#include "mapping/fhir.hpp"
#include "record/random.hpp"
#include "record/write.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

const std::string folder = "tests/cases/elsewhere/";

std::string case_text(const std::string& name) {
  return file_text(folder + name + ".json");
}

// What the case holds: a canonical record a line, then a finding a line.
std::string outcome_of(const Back& back) {
  std::string text;
  for (const auto& one : back.records) {
    record::write_record(one, text);
    text += '\n';
  }
  for (const auto& one : back.findings.all()) {
    text.append(record::finding_kind(one.id).slug)
        .append(" ")
        .append(one.path)
        .append(": ")
        .append(one.message);
    text += '\n';
  }
  return text;
}

std::string value_at(const Back& back, std::size_t number, record::FieldId id) {
  std::string text;
  REQUIRE(number < back.records.size());
  if (const auto* value = back.records[number].at(id)) record::write_value(record::field(id), *value, text);
  return text;
}

}  // namespace

TEST_CASE("each shape of others gives the records and findings that were judged by hand") {
  std::size_t cases = 0;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(CHARPIE_SOURCE_DIR) + "/" + folder)) {
    if (entry.path().extension() != ".json") continue;
    const auto name = entry.path().stem().string();
    CAPTURE(name);
    ++cases;
    const auto outcome = outcome_of(from_fhir(case_text(name)));
    const auto expected = folder + name + ".expected";
    if (std::getenv("CHARPIE_ACCEPT") != nullptr)
      std::ofstream(std::string(CHARPIE_SOURCE_DIR) + "/" + expected, std::ios::binary) << outcome;
    CHECK(outcome == file_text(expected));
  }
  CHECK(cases >= 8);
}

TEST_CASE("the worked values of the HL7 lower-extremity wound guide arrive as they were charted") {
  // HL7 lower-extremity wound guide, 2020, woundsize example: 4 x 2 x 0.2 cm, area 4 cm2, depth in words.
  const auto back = from_fhir(case_text("draft-guide"));
  REQUIRE(back.records.size() == 1);
  CHECK(value_at(back, 0, record::FieldId::size_length) == R"({"value":4,"unit":"cm"})");
  CHECK(value_at(back, 0, record::FieldId::size_width) == R"({"value":2,"unit":"cm"})");
  CHECK(value_at(back, 0, record::FieldId::size_depth) == R"({"value":0.2,"unit":"cm"})");
  CHECK(value_at(back, 0, record::FieldId::size_area) == R"({"value":4,"unit":"cm2"})");
  CHECK(!back.blocks());
  // Its bed example: 4, unit "cm2", code "%": the code decides, and the text that says otherwise is told.
  CHECK(value_at(back, 0, record::FieldId::bed).find("\"percent\":4") != std::string::npos);
  CHECK(back.said().find("component[0].valueQuantity.unit") != std::string::npos);
  // Tunnel of 3 cm at 1 o'clock, undermining of 4 cm at 1 o'clock: each in three resources, read as one.
  CHECK(value_at(back, 0, record::FieldId::spaces) ==
        R"([{"kind":"tunnel","from":1,"extent":{"value":3,"unit":"cm"}},)"
        R"({"kind":"undermining","from":1,"extent":{"value":4,"unit":"cm"}}])");
  // Drainage of 10 mL from a device (72291-8).
  CHECK(value_at(back, 0, record::FieldId::drainage_volume) == R"({"value":10,"unit":"mL"})");
  CHECK(value_at(back, 0, record::FieldId::drainage_from) == R"("device")");
}

TEST_CASE("a dimension each, and the date of the last change stays a date") {
  // Dutch zib Wound, 2020: 5 x 2.5 x 1 cm, last dressing change 2014-10-18.
  const auto back = from_fhir(case_text("member-per-dimension"));
  CHECK(value_at(back, 0, record::FieldId::size_length) == R"({"value":5,"unit":"cm"})");
  CHECK(value_at(back, 0, record::FieldId::size_width) == R"({"value":2.5,"unit":"cm"})");
  CHECK(value_at(back, 0, record::FieldId::size_depth) == R"({"value":1,"unit":"cm"})");
  CHECK(value_at(back, 0, record::FieldId::removed_appliedAt) == R"("2014-10-18")");
}

TEST_CASE("a window joins findings minutes apart, and none without being asked") {
  const auto text = case_text("simple-observations");
  CHECK(from_fhir(text).records.size() == 4);
  mapping::Options wide;
  wide.visit_window = 10;
  const auto joined = from_fhir(text, wide);
  CHECK(joined.records.size() == 3);
  CHECK(value_at(joined, 0, record::FieldId::size_depth) == R"({"value":2,"unit":"mm"})");
  wide.visit_window = 9;
  CHECK(from_fhir(text, wide).records.size() == 4);
}

TEST_CASE("findings of two wounds never meet in one record, however they are linked, timed and ordered") {
  // A length says which wound it is of: 1.x for the one, 2.x for the other. Everything else is left to
  // chance.
  tests::Random random(20261125);
  std::size_t joined = 0;
  for (int round = 0; round < 500; ++round) {
    std::vector<std::string> entries;
    const std::size_t count = 2 + random.below(6);
    for (std::size_t i = 0; i < count; ++i) {
      const std::string id = "o" + std::to_string(i);
      const bool second = random.below(2) == 1;
      static constexpr const char* codes[] = {"39126-8", "39125-0", "39127-6", "72287-6", "39135-9"};
      const std::string code = codes[random.below(5)];
      std::string text = R"({"resource":{"resourceType":"Observation","id":")" + id +
                         R"(","status":"final","code":{"coding":[{"system":"http://loinc.org","code":")" +
                         code + R"("}]},"subject":{"reference":"Patient/p"},"effectiveDateTime":"2026-03-0)" +
                         std::to_string(1 + random.below(2)) + R"(")";
      if (random.below(4) != 0)
        text += R"(,"focus":[{"identifier":{"system":"https://invented.example/w","value":")" +
                std::string(second ? "2" : "1") + R"("}}])";
      if (code != "39135-9" && code != "72287-6")
        text += R"(,"valueQuantity":{"value":)" + std::string(second ? "2." : "1.") + std::to_string(i) +
                R"(,"unit":"cm","system":"http://unitsofmeasure.org","code":"cm"})";
      if (random.below(2) == 0)
        text +=
            R"(,"hasMember":[{"reference":"Observation/o)" + std::to_string(random.below(count)) + R"("}])";
      entries.push_back(text + "}}");
    }
    std::string bundle = R"({"resourceType":"Bundle","type":"collection","entry":[)";
    for (std::size_t i = 0; i < entries.size(); ++i) bundle += (i == 0 ? "" : ",") + entries[i];
    const auto back = from_fhir(bundle + "]}");
    for (std::size_t i = 0; i < back.records.size(); ++i) {
      const auto wound = back.records[i].text(record::FieldId::wound_id);
      if (wound.empty()) continue;
      for (const auto id :
           {record::FieldId::size_length, record::FieldId::size_width, record::FieldId::size_depth}) {
        const auto value = value_at(back, i, id);
        if (value.empty()) continue;
        ++joined;
        // What names no wound may be linked to either; what names one stays with it.
        const auto number = value[9] - '0';
        const bool names_one = bundle.find("\"value\":" + value.substr(9, 3)) != std::string::npos;
        REQUIRE(names_one);
        const auto entry = std::find_if(entries.begin(), entries.end(), [&](const std::string& one) {
          return one.find("\"value\":" + value.substr(9, 3) + ",") != std::string::npos;
        });
        REQUIRE(entry != entries.end());
        if (entry->find("focus") == std::string::npos) continue;
        CAPTURE(bundle);
        CHECK(std::to_string(number) == wound);
      }
    }
  }
  CHECK(joined > 300);
}
