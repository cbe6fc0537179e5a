// Published values and facts of the trade, taken through FHIR R4 and back. Each names its source.
#include <doctest/doctest.h>

#include "mapping/fhir.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

std::string visit(const std::string& fields, const std::string& start = "2026-03-02T13:30+01:00") {
  return R"({"format":"wound-visit/1","id":"V1","status":"final","source":{"system":"https://invented.example/chart"},"patient":{"id":"P1","system":"https://invented.example/patients"},"wound":{"id":"1"},"performed":{"kind":"both","outcome":"completed","start":")" +
         start + "\"}," + fields + "}";
}

struct Journey {
  Reading charted;
  std::string bundle;
  Back back;
  const record::Record& record() const { return back.records.front(); }
  bool holds(std::string_view text) const { return bundle.find(text) != std::string::npos; }
};

Journey travel(const std::string& fields, const std::string& start = "2026-03-02T13:30+01:00") {
  Journey journey{read(visit(fields, start)), {}, {}};
  REQUIRE(journey.charted.said() == "");
  journey.bundle = to_fhir(journey.charted.record);
  journey.back = from_fhir(journey.bundle);
  REQUIRE(journey.back.records.size() == 1);
  CHECK(journey.back.said() == "");
  CHECK(record::compare(journey.charted.record, journey.record(), nullptr) == 0);
  return journey;
}

}  // namespace

TEST_CASE("a length of 2 [in_i] is 5.08 cm and comes back as 2 [in_i]") {
  // Source: C-CDA example of the Wound Measurement Observation (PQ 2 [in_i], LOINC 39126-8); UCUM 2.2, 1
  // [in_i] = 2.54 cm.
  const auto journey = travel(R"("size":{"length":{"value":2,"unit":"[in_i]"}})");
  CHECK(journey.holds(R"("value":5.08,"unit":"cm")"));
  CHECK(journey.holds(R"("code":"39126-8")"));
  CHECK(journey.holds(
      R"("valueQuantity":{"value":2,"unit":"[in_i]","system":"http://unitsofmeasure.org","code":"[in_i]"})"));
}

TEST_CASE("4 x 2 x 0.2 cm with a stated area of 4 cm2 stays as stated") {
  // Source: HL7 Lower Extremity Skin Wound guide (2020 draft), WoundSize example; 4 x 2 is 8: never
  // recomputed.
  const auto journey = travel(
      R"("size":{"length":{"value":4,"unit":"cm"},"width":{"value":2,"unit":"cm"},"depth":{"value":0.2,"unit":"cm"},"area":{"value":4,"unit":"cm2"}})");
  CHECK(journey.holds(R"({"value":4,"unit":"cm2")"));
  CHECK(journey.holds(R"("code":"89260-4")"));
  CHECK(!journey.holds(R"("value":8,)"));
}

TEST_CASE("a tunnel of 3 cm and undermining of 4 cm, both at 1 o'clock, use their own questions") {
  // Source: the same guide, tunneling and undermining examples: 72296-7/72297-5 and 72293-4/72294-2; clock
  // 260318004.
  const auto journey = travel(
      R"("spaces":[{"kind":"tunnel","from":1,"extent":{"value":3,"unit":"cm"}},{"kind":"undermining","from":1,"extent":{"value":4,"unit":"cm"}}])");
  for (const auto* code : {"72296-7", "72297-5", "72293-4", "72294-2", "260318004"}) {
    CAPTURE(code);
    CHECK(journey.holds("\"code\":\"" + std::string(code) + "\""));
  }
}

TEST_CASE("10 mL from a device is 72291-8, otherwise a question of our own") {
  // Source: the same guide, exudate volume example: 10 mL, not estimated, LOINC 72291-8 "from device".
  CHECK(travel(R"("drainage":{"volume":{"value":10,"unit":"mL","estimated":false},"from":"device"})")
            .holds("72291-8"));
  CHECK(!travel(R"("drainage":{"volume":{"value":10,"unit":"mL"}})").holds("72291-8"));
}

TEST_CASE("a date stays a date: 5 x 2.5 x 1 cm, changed on 2014-10-18") {
  // Source: Dutch zib wound example, date of last dressing change without a time.
  const auto journey = travel(
      R"("size":{"length":{"value":5,"unit":"cm"},"width":{"value":2.5,"unit":"cm"},"depth":{"value":1,"unit":"cm"}})",
      "2014-10-18");
  CHECK(journey.holds(R"("performedDateTime":"2014-10-18")"));
  CHECK(!journey.holds("T00:00"));
}

TEST_CASE("areas by length and width are not computed on the way: 4.2 x 2.8 then 3.1 x 2.0") {
  // Source: public calculator page (11.76 and 6.20 cm2); here only that no area appears which nobody charted.
  CHECK(!travel(R"("size":{"length":{"value":4.2,"unit":"cm"},"width":{"value":2.8,"unit":"cm"}})")
             .holds("11.76"));
  CHECK(!travel(R"("size":{"length":{"value":3.1,"unit":"cm"},"width":{"value":2.0,"unit":"cm"}})")
             .holds("6.2,"));
  // A charted zero at the end stays: 2.0 is not 2 (FHIR R4, datatype decimal: precision is always
  // significant).
  CHECK(travel(R"("size":{"width":{"value":2.0,"unit":"cm"}})").holds("\"value\":2.0,"));
}

TEST_CASE("189 mm2 is 1.89 cm2") {
  // Source: J Invest Dermatol 2002;119(6):1420-1425, median area 189 mm2.
  const auto journey = travel(R"("size":{"area":{"value":189,"unit":"mm2"}})");
  CHECK(journey.holds(R"("value":1.89,"unit":"cm2")"));
  CHECK(journey.holds(R"("value":189,"unit":"mm2")"));
}

TEST_CASE("month 31 is no date, in a record and in FHIR") {
  // Source: C-CDA ballot page 2024Jan, the impossible date 20013103.
  const auto charted = read(visit(R"("trend":"stable")", "2001-31-03"));
  CHECK(charted.said().find("time.form performed.start") != std::string::npos);
  auto bundle = to_fhir(read(visit(R"("trend":"stable")", "2001-03-31")).record);
  for (std::size_t at = bundle.find("2001-03-31"); at != std::string::npos; at = bundle.find("2001-03-31")) {
    bundle.replace(at, 10, "2001-31-03");
  }
  const auto back = from_fhir(bundle);
  CHECK(back.slugs().contains("time.form"));
  CHECK(back.blocks());
}

TEST_CASE("a code system with its last digits cut off is not SNOMED CT") {
  // Source: the same page, OID 2.16.840.1.113883.6.6 where .6.96 (SNOMED CT) was meant; here with the URI
  // cut.
  auto bundle = to_fhir(read(visit(R"("drainage":{"type":"serous"})")).record);
  const auto at = bundle.find(R"("system":"http://snomed.info/sct","code":"447112000")");
  REQUIRE(at != std::string::npos);
  bundle.replace(at, 33, R"("system":"http://snomed.info/sc" )");
  CHECK(from_fhir(bundle).blocks());
}

TEST_CASE("undermining from 11 to 2 o'clock goes past 12 and comes back as charted") {
  // Source for a range over the hours: undermining 1.5 cm from 12 to 3 o'clock, woundcareadvisor.com 2012;
  // 11 to 2 is our own example of passing 12.
  travel(
      R"("spaces":[{"kind":"undermining","from":11,"to":2,"extent":{"value":1.5,"unit":"cm"}},{"kind":"undermining","from":12,"to":3,"extent":{"value":1.5,"unit":"cm"}}])");
}

// --- facts of the trade: common practice, no source
// -----------------------------------------------------------

TEST_CASE(
    "common practice, no source: 3 inches are 7.62 cm, 12 inches 30.48 cm, and both come back in inches") {
  const auto journey =
      travel(R"("size":{"length":{"value":12,"unit":"[in_i]"},"width":{"value":3,"unit":"[in_i]"}})");
  CHECK(journey.holds(R"("value":7.62,"unit":"cm")"));
  CHECK(journey.holds(R"("value":30.48,"unit":"cm")"));
}

TEST_CASE(
    "common practice, no source: a coin-sized spot stays words, with an estimated extent, and is no wound "
    "length") {
  // Diameter of the US quarter: 24.26 mm (US Mint specification).
  const auto journey = travel(
      R"("removed":{"drainage":{"amount":{"text":"spot the size of a quarter"},"extent":{"value":24.26,"unit":"mm","estimated":true}}})");
  CHECK(journey.holds("spot the size of a quarter"));
  CHECK(journey.holds(R"(StructureDefinition/estimated","valueBoolean":true)"));
  CHECK(!journey.holds("39126-8"));
  CHECK(!journey.holds("72287-6"));
}

TEST_CASE("common practice, no source: a negative is a negative, not a gap") {
  const auto journey = travel(R"("periwound":[{"finding":"induration","present":false}])");
  CHECK(journey.holds(R"("code":"2667000","display":"Absent")"));
  CHECK(journey.record().at(record::FieldId::periwound) != nullptr);
  CHECK(travel(R"("trend":"stable")").record().at(record::FieldId::periwound) == nullptr);
}

TEST_CASE("common practice, no source: none, absent and not mentioned are three answers") {
  CHECK(travel(R"("infectionSigns":"none")").record().at(record::FieldId::infectionSigns)->form ==
        record::Form::none);
  const auto absent = travel(R"("infectionSigns":{"absent":"not-performed"})");
  CHECK(absent.record().at(record::FieldId::infectionSigns)->form == record::Form::absent);
  CHECK(absent.holds(R"("dataAbsentReason")"));
}

TEST_CASE(
    "common practice, no source: a label carries initials, date and 24-hour time, apart from the visit's "
    "time") {
  const auto journey = travel(R"("label":{"initials":"M.K.","date":"2026-03-02","time":"13:45"})");
  CHECK(journey.holds(R"("valueString":"M.K.")"));
  CHECK(journey.holds(R"("valueTime":"13:45:00")"));
  CHECK(journey.holds(R"("valueDateTime":"2026-03-02")"));
  CHECK(journey.record().text(record::FieldId::performed_start) == "2026-03-02T13:30+01:00");
}

TEST_CASE("common practice, no source: a minute without seconds stays a minute") {
  const auto journey = travel(R"("trend":"stable")");
  CHECK(journey.holds(R"("2026-03-02T13:30:00+01:00")"));
  CHECK(journey.holds("charted-precision"));
  CHECK(!travel(R"("trend":"stable")", "2026-03-02T13:30:00+01:00").holds("charted-precision"));
}

TEST_CASE("no hidden copy: nothing in a bundle holds a record as JSON, and narrative names nobody") {
  for (const auto& text : hard_cases()) {
    const auto reading = read(text);
    const auto bundle = to_fhir(reading.record);
    CHECK(bundle.find("wound-visit/1") == std::string::npos);
    CHECK(bundle.find(R"(\"format\")") == std::string::npos);
    CHECK(bundle.find("\"valueBase64Binary\"") == std::string::npos);
    CHECK(bundle.find("\"data\":") == std::string::npos);
    // Identifiers of people stay out of the narrative.
    const auto patient = reading.record.text(record::FieldId::patient_id);
    if (patient.size() < 4) continue;
    for (auto at = bundle.find("<p>"); at != std::string::npos; at = bundle.find("<p>", at + 1)) {
      const auto end = bundle.find("</p>", at);
      CHECK(bundle.substr(at, end - at).find(patient) == std::string::npos);
    }
  }
}
