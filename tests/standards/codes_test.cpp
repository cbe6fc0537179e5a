// The codes that go out, against the published sources, entered here by hand and apart from the tables.
#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "terms/terms.hpp"

using namespace charpie;

namespace {

const terms::Terms& loaded() {
  static const terms::Terms terms = [] {
    auto result = terms::Terms::load(Tables(embedded_tables()));
    if (!result) FAIL(result.error().file << ":" << result.error().line << ": " << result.error().message);
    return std::move(*result);
  }();
  return terms;
}

struct Sent {
  const char *domain, *word, *code;
};

void check_sent(const std::vector<Sent>& rows, std::string_view system) {
  for (const auto& row : rows) {
    CAPTURE(row.domain);
    CAPTURE(row.word);
    const auto* domain = loaded().domain(row.domain);
    REQUIRE(domain != nullptr);
    const auto* entry = domain->find(row.word);
    REQUIRE(entry != nullptr);
    CHECK(entry->code == row.code);
    if (entry->code.empty()) continue;
    CHECK(entry->system == system);
    CHECK(domain->meaning(system, row.code) == entry);
  }
}

}  // namespace

// HL7 Lower Extremity Skin Wound Assessment guide, R4, draft of 2020-06-30, value sets.
TEST_CASE("HL7 wound guide: clock positions") {
  check_sent({{"clock-position", "1", "260318004"},
              {"clock-position", "2", "260328008"},
              {"clock-position", "3", "260330005"},
              {"clock-position", "4", "260333007"},
              {"clock-position", "5", "260335000"},
              {"clock-position", "6", "260337008"},
              {"clock-position", "7", "260339006"},
              {"clock-position", "8", "260341007"},
              {"clock-position", "9", "260343005"},
              {"clock-position", "10", "260322009"},
              {"clock-position", "11", "260324005"},
              {"clock-position", "12", "260326007"}},
             "http://snomed.info/sct");
  CHECK(loaded().domain("clock-position")->concepts.size() == 12);
}

TEST_CASE("HL7 wound guide: drainage, edge, bed, spaces, devices, trend") {
  check_sent({{"exudate-amount", "none", "260413007"},
              {"exudate-amount", "scant", "263865001"},
              {"exudate-amount", "small", "255507004"},
              {"exudate-amount", "moderate", "6736007"},
              {"exudate-amount", "large", "255509001"},
              {"exudate-type", "purulent", "225550006"},
              {"exudate-type", "sanguineous", "449762008"},
              {"exudate-type", "seropurulent", "449761001"},
              {"exudate-type", "serosanguineous", "449756003"},
              {"exudate-type", "serous", "447112000"},
              {"exudate-type", "viscous", "449757007"},
              {"odor", "foul", "447547000"},
              {"wound-edge", "approximated", "449741007"},
              {"wound-edge", "dehisced", "427832005"},
              {"wound-edge", "rolled", "449751008"},
              {"wound-edge", "scab", "449760000"},
              {"wound-edge", "diffuse", "449749009"},
              {"wound-edge", "well-defined", "449750009"},
              {"wound-edge", "attached", "449748001"},
              {"edge-approximation", "well-approximated", "449741007"},
              {"wound-bed-tissue", "slough", "449746002"},
              {"wound-bed-tissue", "granulation", "225541009"},
              {"wound-bed-tissue", "fibrin", "449745003"},
              {"wound-bed-tissue", "epithelial", "449743005"},
              {"wound-bed-tissue", "eschar", "421306004"},
              {"wound-bed-tissue", "necrotic", "609410002"},
              {"wound-bed-tissue", "skin-eschar", "409590008"},
              {"space-kind", "undermining", "449752001"},
              {"space-kind", "tunnel", "239158009"},
              {"laterality", "bilateral", "51440002"},
              {"laterality", "midline", "399488007"},
              {"measuring-device", "measuring-tape", "51791000"},
              {"measuring-device", "caliper", "44056008"},
              {"healing-trend", "worsening", "390772001"},
              {"healing-trend", "improving", "390771008"},
              {"healing-trend", "resolved", "723506003"},
              {"healing-trend", "stable", "409052007"}},
             "http://snomed.info/sct");
}

// C-CDA 5.0.0, DICOM (CID 244) and the Dutch guides name the sides by these qualifiers; the wound guide's
// halves of the body are read and never sent. A flipped side is the error that must not happen: both ways are
// pinned.
TEST_CASE("left is left and right is right, sent and read") {
  check_sent({{"laterality", "left", "7771000"}, {"laterality", "right", "24028007"}},
             "http://snomed.info/sct");
  const auto& sides = *loaded().domain("laterality");
  const std::string sct = "http://snomed.info/sct";
  CHECK(sides.meaning(sct, "7771000")->word == "left");
  CHECK(sides.meaning(sct, "24028007")->word == "right");
  CHECK(sides.meaning(sct, "31156008")->word == "left");   // left half of the body
  CHECK(sides.meaning(sct, "85421007")->word == "right");  // right half of the body
  CHECK(sides.meaning(sct, "419161000")->word == "left");
  CHECK(sides.meaning(sct, "419465000")->word == "right");
}

// SNOMED CT editorial guide (2026-01): the older stage concepts are inactivated. C-CDA 5.0.0 uses stage 3 as
// here.
TEST_CASE("pressure injury stages: current concepts out, retired ones in") {
  check_sent({{"pressure-injury-stage", "stage-1", "1163217004"},
              {"pressure-injury-stage", "stage-2", "1163220007"},
              {"pressure-injury-stage", "stage-3", "1163222004"},
              {"pressure-injury-stage", "stage-4", "1163224003"},
              {"pressure-injury-stage", "unstageable", "1163226001"},
              {"pressure-injury-stage", "deep-tissue", "723071003"}},
             "http://snomed.info/sct");
  const auto& stages = *loaded().domain("pressure-injury-stage");
  const std::string sct = "http://snomed.info/sct";
  CHECK(stages.meaning(sct, "421076008")->word == "stage-1");
  CHECK(stages.meaning(sct, "420324007")->word == "stage-2");
  CHECK(stages.meaning(sct, "421927004")->word == "stage-3");
  CHECK(stages.meaning(sct, "420597008")->word == "stage-4");
}

// FHIR R4 4.0.1: data-absent-reason, observation-status, event-status; administrative-gender from memory.
TEST_CASE("FHIR R4: the words of fixed code systems are its codes") {
  struct Fixed {
    const char *domain, *system;
    std::vector<std::string> codes;
  };
  const std::vector<Fixed> rows = {
      {"absent-reason",
       "http://terminology.hl7.org/CodeSystem/data-absent-reason",
       {"unknown", "asked-unknown", "temp-unknown", "not-asked", "asked-declined", "masked", "not-applicable",
        "unsupported", "as-text", "error", "not-a-number", "negative-infinity", "positive-infinity",
        "not-performed", "not-permitted"}},
      {"record-status",
       "http://hl7.org/fhir/observation-status",
       {"preliminary", "final", "amended", "corrected", "entered-in-error"}},
      {"performed-status", "http://hl7.org/fhir/event-status", {"completed", "stopped", "not-done"}},
      {"sex", "http://hl7.org/fhir/administrative-gender", {"female", "male", "other", "unknown"}},
  };
  for (const auto& row : rows) {
    CAPTURE(row.domain);
    const auto& domain = *loaded().domain(row.domain);
    CHECK(domain.concepts.size() == row.codes.size());
    for (const auto& code : row.codes) {
      CAPTURE(code);
      const auto* entry = domain.find(code);
      REQUIRE(entry != nullptr);
      CHECK(entry->code == code);
      CHECK(entry->system == row.system);
    }
  }
}

// FHIR R4, Timing.code: the preferred list of HL7 v3 timing abbreviations. It has no code for a shift.
TEST_CASE("FHIR R4: fixed slots of a timing") {
  check_sent({{"slot", "daily", "QD"},
              {"slot", "twice-daily", "BID"},
              {"slot", "three-times-daily", "TID"},
              {"slot", "four-times-daily", "QID"},
              {"slot", "every-other-day", "QOD"},
              {"slot", "morning", "AM"},
              {"slot", "afternoon", "PM"},
              {"slot", "bedtime", "BED"},
              {"slot", "weekly", "WK"},
              {"slot", "every-shift", ""}},
             "http://terminology.hl7.org/CodeSystem/v3-GTSAbbreviation");
}

// Questions of the HL7 wound guide (2020-06-30), of the Danish wound profile (94083-3) and of C-CDA
// (91150-3).
TEST_CASE("the questions that templates may name") {
  struct Question {
    const char *code, *display;
  };
  for (const auto& row : std::vector<Question>{
           {"39135-9", "Wound assessment panel"},
           {"72287-6", "Wound size panel"},
           {"39126-8", "Length of Wound"},
           {"39125-0", "Width of Wound"},
           {"39127-6", "Depth of Wound"},
           {"89260-4", "Area of wound"},
           {"94083-3", "Wound volume"},
           {"39114-4", "Depth of Wound - nominal"},
           {"89254-7", "Wound bed panel"},
           {"72371-8", "Appearance of Wound base"},
           {"72370-0", "Area of identified wound bed appearance/Area of wound bed of Wound base"},
           {"39132-6", "Color of Wound base"},
           {"89255-4", "Wound bed area identified by color/Area of wound bed"},
           {"89256-2", "Wound edge panel"},
           {"39133-4", "Color of Wound edge"},
           {"72304-9", "Edge of wound description"},
           {"39116-9", "Drainage amount of Wound"},
           {"72290-0", "Appearance of Exudate from wound"},
           {"72289-2", "Color of Exudate from wound"},
           {"72288-4", "Odor of Exudate from wound"},
           {"72291-8", "Drainage amount from device of Exudate from wound"},
           {"72297-5", "Tunneling clock position of Wound"},
           {"72296-7", "Tunneling [Length] of Wound"},
           {"72294-2", "Undermining clock position of Wound"},
           {"72293-4", "Undermining [Length] of Wound"},
           {"91150-3", "Pressure injury stage NPUAP"}}) {
    CAPTURE(row.code);
    const auto* question = loaded().standard("loinc", row.code);
    REQUIRE(question != nullptr);
    CHECK(question->display == row.display);
    CHECK(question->use != "input");
  }
}
