// Each finding of the reader, beside the nearest text that is right.
#include <doctest/doctest.h>

#include <string>
#include <string_view>

#include "record/reading.hpp"

using namespace charpie;
using tests::read;

namespace {

// The required fields, with one more member (or one replaced) where it belongs.
std::string visit(std::string_view more) {
  return R"({"format":"wound-visit/1","id":"v1","status":"final","patient":{"id":"p1"},"wound":{"id":"1"},)"
         R"("performed":{"kind":"both","outcome":"completed","start":"2026-03-02T13:30+01:00"})" +
         std::string(more.empty() ? "" : ",") + std::string(more) + "}";
}

// What the reader says of a record with these further members.
std::string said(std::string_view more) {
  return read(visit(more)).said();
}

std::string message(std::string_view more) {
  const auto reading = read(visit(more));
  REQUIRE(reading.findings.all().size() == 1);
  return reading.findings.all()[0].message;
}

}  // namespace

TEST_CASE("the required fields alone are a record") {
  CHECK(said("") == "");
}

TEST_CASE("what is no object is no record") {
  CHECK(read("[]").said() == "record.not-object ");
  CHECK(read("\"visit\"").said() == "record.not-object ");
  CHECK(read("{}").said() ==
        "field.empty \nfield.missing format\nfield.missing id\nfield.missing status\nfield.missing patient\n"
        "field.missing wound\nfield.missing performed");
  CHECK(read("[]").record.root != nullptr);
}

TEST_CASE("unknown fields are named, with the one that was probably meant") {
  CHECK(said(R"("size":{"length":{"value":4.0,"unit":"cm"}})") == "");
  CHECK(said(R"("size":{"lenght":{"value":4.0,"unit":"cm"}})") == "field.unknown size.lenght");
  CHECK(message(R"("size":{"lenght":1,"width":{"value":4.0,"unit":"cm"}})") ==
        "unknown field 'lenght' – did you mean 'size.length'?");
  CHECK(message(R"("length":{"value":4.0,"unit":"cm"})") ==
        "unknown field 'length' – did you mean 'size.length'?");
  CHECK(message(R"("bed_color":"none")") == "unknown field 'bed_color' – did you mean 'bedColor'?");
  CHECK(message(R"("bloodPressure":"120/80")") == "unknown field 'bloodPressure'");
  CHECK(said(R"("trend":{"code":"improving","color":"red"})") == "field.unknown trend.color");
  CHECK(said(R"("size":{"depth":{"value":1,"unit":"cm","at":"center"}})") == "field.unknown size.depth.at");
}

TEST_CASE("each kind takes its own JSON") {
  const std::string_view cases[][2] = {
      {R"("notes":["dry"])", R"("notes":[1])"},
      {R"("wound":{"id":"1","cause":"fall"})", R"("wound":{"id":"1","cause":["fall"]})"},
      {R"("label":{"date":"2026-03-02"})", R"("label":{"date":20260302})"},
      {R"("label":{"time":"13:30"})", R"("label":{"time":1330})"},
      {R"("trend":"improving")", R"("trend":1)"},
      {R"("trend":{"code":"improving"})", R"("trend":{"code":1})"},
      {R"("removed":{"layers":2})", R"("removed":{"layers":"2"})"},
      {R"("bed":[{"tissue":"slough","percent":20}])", R"("bed":[{"tissue":"slough","percent":"20"}])"},
      {R"("pain":{"before":2})", R"("pain":{"before":"2"})"},
      {R"("drainage":{"present":true})", R"("drainage":{"present":"true"})"},
      {R"("wound":{"id":"1","landmark":{"clock":3}})", R"("wound":{"id":"1","landmark":{"clock":"3"}})"},
      {R"("size":{"area":{"value":2,"unit":"cm2"}})", R"("size":{"area":2})"},
      {R"("size":{"area":{"value":2,"unit":"cm2"}})", R"("size":{"area":{"value":"2","unit":"cm2"}})"},
      {R"("size":{"area":{"value":2,"unit":"cm2"}})", R"("size":{"area":{"value":2,"unit":3}})"},
      {R"("size":{"area":{"value":2,"unit":"cm2","estimated":true}})",
       R"("size":{"area":{"value":2,"unit":"cm2","estimated":"yes"}})"},
      {R"("size":{"area":{"value":2,"unit":"cm2","comparator":"<"}})",
       R"("size":{"area":{"value":2,"unit":"cm2","comparator":1}})"},
      {R"("plan":{"instruction":"rest"})", R"("plan":"rest")"},
      {R"("edges":["attached"])", R"("edges":"attached")"},
      {R"("edges":["attached"])", R"("edges":[["attached"]])"},
      {R"("extra":[{"name":"x","value":2}])", R"("extra":[{"name":"x","value":2.5}])"},
      {R"("extra":[{"name":"x","value":0}])", R"("extra":[{"name":"x","value":-1}])"},
      {R"("extra":[{"name":"x","value":true,"code":{"system":"urn:x","code":"1"}}])",
       R"("extra":[{"name":"x","value":true,"code":"1"}])"},
      {R"("trend":{"code":"improving","also":[{"system":"urn:x","code":"1"}]})",
       R"("trend":{"code":"improving","also":{"system":"urn:x","code":"1"}})"},
      {R"("trend":{"code":"improving","also":[{"system":"urn:x","code":"1"}]})",
       R"("trend":{"code":"improving","also":["1"]})"},
      {R"("trend":{"absent":"unknown"})", R"("trend":{"absent":7})"},
  };
  for (const auto& pair : cases) {
    const auto good = pair[0], bad = pair[1];
    CAPTURE(bad);
    const auto replace = [](std::string_view more) {  // "wound" stands in the frame already
      auto text = visit(more);
      if (more.starts_with("\"wound\"")) text.erase(text.find(R"("wound":{"id":"1"},)"), 19);
      return read(text);
    };
    CHECK(replace(good).said() == "");
    CHECK(replace(bad).said().starts_with("field.kind "));
  }
  CHECK(message(R"("drainage":{"present":"true"})") == "expected true or false, found a string");
}

TEST_CASE("words of the record's own state are plain words") {
  auto text = visit("");
  text.replace(text.find("\"final\""), 7, R"({"code":"final"})");
  CHECK(read(text).said() == "field.kind status");
}

TEST_CASE("required fields are missed, also inside lists") {
  CHECK(said(R"("bed":[{"tissue":"slough"},{"percent":20}])") == "field.missing bed[1].tissue");
  CHECK(said(R"("encounter":{"system":"urn:x"})") == "field.missing encounter.id");
  CHECK(said(R"("trend":{"system":"urn:x"})") == "field.missing trend.code");
  CHECK(said(R"("trend":{"display":"better","code":"improving"})") == "field.missing trend.system");
  CHECK(said(R"("trend":{"also":[{"system":"urn:x","code":"1"}],"text":"better"})") ==
        "field.missing trend.code");
  CHECK(said(R"("trend":{"code":"improving","also":[{"system":"urn:x"}]})") ==
        "field.missing trend.also[0].code");
  CHECK(said(R"("size":{"depth":{"unit":"cm"}})") == "field.missing size.depth.value");
}

TEST_CASE("a change that was done or stopped has a start; one that was not done needs none") {
  const auto performed = [](std::string_view members) {
    auto text = visit("");
    const auto at = text.find("\"performed\":{");
    text.replace(at, text.find('}', at) + 1 - at, "\"performed\":{" + std::string(members) + "}");
    return read(text).said();
  };
  CHECK(performed(R"("kind":"both","outcome":"completed")") == "field.missing performed.start");
  CHECK(performed(R"("kind":"both","outcome":"stopped")") == "field.missing performed.start");
  CHECK(performed(R"("kind":"both","outcome":"not-done")") == "");
  CHECK(performed(R"("kind":"both")") == "field.missing performed.outcome");
  CHECK(performed(R"("kind":"both","outcome":"completed","start":"today")") == "time.form performed.start");
}

TEST_CASE("what says nothing is no answer") {
  CHECK(said(R"("size":{})") == "field.empty size");
  CHECK(said(R"("bed":[])") == "field.empty bed");
  CHECK(said(R"("bed":[{}])") == "field.empty bed[0]\nfield.missing bed[0].tissue");
  CHECK(said(R"("notes":[""])") == "field.empty notes[0]");
  CHECK(said(R"("notes":[" \t "])") == "field.empty notes[0]");
  CHECK(said(R"("notes":null)") == "field.empty notes");
  CHECK(said(R"("size":null)") == "field.empty size");
  CHECK(said(R"("trend":"")") == "field.empty trend");
  CHECK(said(R"("trend":{})") == "field.empty trend");
  CHECK(said(R"("trend":{"code":null})") == "field.empty trend.code");
  CHECK(said(R"("trend":{"code":"improving","also":[]})") == "field.empty trend.also");
  CHECK(said(R"("size":{"depth":{}})") == "field.empty size.depth");
  CHECK(said(R"("size":{"depth":{"value":1,"unit":" "}})") == "field.empty size.depth.unit");
  CHECK(message(R"("bed":[])") == "an empty list says nothing");
}

TEST_CASE("absent: where, why, and alone") {
  CHECK(said(R"("size":{"absent":"not-performed"})") == "");
  CHECK(said(R"("size":{"length":{"absent":"not-performed"}})") == "");
  CHECK(said(R"("bed":{"absent":"not-performed"})") == "");
  CHECK(said(R"("edges":{"absent":"not-performed"})") == "");
  CHECK(said(R"("plan":{"absent":"not-performed"})") == "absent.not-allowed plan");
  CHECK(said(R"("notes":{"absent":"not-performed"})") == "absent.not-allowed notes");
  CHECK(said(R"("edges":[{"absent":"not-performed"}])") == "absent.not-allowed edges[0]");
  CHECK(said(R"("extra":[{"name":"x","value":{"absent":"unknown"}}])") ==
        "absent.not-allowed extra[0].value");
  CHECK(said(R"("size":{"absent":"forgotten"})") == "absent.reason-unknown size.absent");
  CHECK(said(R"("size":{"absent":"not-performed","method":"clock-axis"})") == "absent.form size");
  CHECK(said(R"("size":{"depth":{"absent":"not-performed","value":1}})") == "absent.form size.depth");
}

// FHIR R4 4.0.1, CodeSystem data-absent-reason (terminology.hl7.org); as-text, not-a-number and the two
// infinities from memory.
TEST_CASE("the reasons are those of FHIR") {
  for (const std::string_view reason :
       {"unknown", "asked-unknown", "temp-unknown", "not-asked", "asked-declined", "masked", "not-applicable",
        "unsupported", "as-text", "error", "not-performed", "not-permitted", "not-a-number",
        "negative-infinity", "positive-infinity"}) {
    CAPTURE(reason);
    CHECK(said("\"size\":{\"absent\":\"" + std::string(reason) + "\"}") == "");
  }
  CHECK(record::absent_reasons().size() == 15);
}

TEST_CASE("none answers for a list that was looked for, and for nothing else") {
  CHECK(said(R"("edges":"none")") == "");
  CHECK(said(R"("spaces":"none")") == "");
  CHECK(said(R"("edges":["none"])") == "none.not-allowed edges[0]");
  CHECK(said(R"("edges":[{"code":"none"}])") == "none.not-allowed edges[0]");
  CHECK(said(R"("notes":"none")") == "none.not-allowed notes");
  CHECK(said(R"("performer":"none")") == "none.not-allowed performer");
  CHECK(said(R"("size":"none")") == "none.not-allowed size");
  CHECK(said(R"("size":{"depth":"none"})") == "none.not-allowed size.depth");
  CHECK(said(R"("removed":{"packing":"none"})") == "none.not-allowed removed.packing");
  // A word of a list of words, and a text like any other.
  CHECK(said(R"("drainage":{"odor":"none"})") == "");
  CHECK(said(R"("notes":["none"])") == "");
}

TEST_CASE("the format is this one") {
  auto text = visit("");
  text.replace(text.find("wound-visit/1"), 13, "wound-visit/2");
  CHECK(read(text).said() == "format.unknown format");
}

// XML 1.0 (5th edition), production 2.
TEST_CASE("texts hold only what XML can carry") {
  CHECK(said(R"("notes":["tab\tline\nend\r"])") == "");
  CHECK(said(R"("notes":["\u0085\u007f\ud7ff\ue000\ufffd\ud800\udc00\udbff\udfff"])") == "");
  CHECK(said(R"("notes":["\u0001"])") == "text.character notes[0]");
  CHECK(said(R"("notes":["good","\ufffe"])") == "text.character notes[1]");
  CHECK(said(R"("trend":{"text":"\u001f"})") == "text.character trend.text");
  CHECK(said(R"("size":{"depth":{"value":1,"unit":"c\u0000m"}})") == "text.character size.depth.unit");
  CHECK(message(R"("notes":["a\ufffe"])") == "the text holds a character that XML 1.0 cannot carry (U+FFFE)");
}

TEST_CASE("times") {
  for (const std::string_view good :
       {"2026", "2026-03", "2026-03-02", "2026-03-02T13:30+01:00", "2026-03-02T13:30:15Z", "2024-02-29"}) {
    CAPTURE(good);
    CHECK(said("\"plan\":{\"nextDue\":\"" + std::string(good) + "\"}") == "");
  }
  for (const std::string_view bad :
       {"26", "2026-13", "2026-02-29", "2026-03-02T13:30", "2026-03-02T24:00Z", "13:30",
        "2026-03-02 13:30+01:00", "2026-03-02T13+01:00", "03/02/2026"}) {
    CAPTURE(bad);
    CHECK(said("\"plan\":{\"nextDue\":\"" + std::string(bad) + "\"}") == "time.form plan.nextDue");
  }
  for (const std::string_view bad : {"1:30", "24:00", "13:60", "13:30:00", "1:30 pm"}) {
    CAPTURE(bad);
    CHECK(said("\"label\":{\"time\":\"" + std::string(bad) + "\"}") == "clocktime.form label.time");
  }
}

TEST_CASE("numbers by their token") {
  const auto layers = [](std::string_view token) {
    return said("\"removed\":{\"layers\":" + std::string(token) + "}");
  };
  for (const auto* good : {"0", "1", "12", "2147483647"}) CHECK_MESSAGE(layers(good) == "", good);
  for (const auto* bad : {"-0", "-1", "1.0", "1e1", "2147483648", "10000000000"}) {
    CHECK_MESSAGE(layers(bad) == "count.form removed.layers", bad);
  }
  const auto percent = [](std::string_view token) {
    return said("\"bed\":[{\"tissue\":\"slough\",\"percent\":" + std::string(token) + "}]");
  };
  for (const auto* good : {"0", "-0", "100", "100.000", "1e2", "12.5", "99.99999999999999999999999999999"}) {
    CHECK_MESSAGE(percent(good) == "", good);
  }
  for (const auto* bad : {"-0.1", "100.0000000000000000000000000001", "101", "1e3", "1.001e2"}) {
    CHECK_MESSAGE(percent(bad) == "percent.range bed[0].percent", bad);
  }
  const auto clock = [](std::string_view token) {
    return said("\"spaces\":[{\"kind\":\"tunnel\",\"from\":" + std::string(token) + "}]");
  };
  for (const auto* good : {"1", "9", "10", "12"}) CHECK_MESSAGE(clock(good) == "", good);
  for (const auto* bad : {"0", "13", "-1", "1.5", "3.0", "1e1", "20", "100"}) {
    CHECK_MESSAGE(clock(bad) == "clock.range spaces[0].from", bad);
  }
  CHECK(said(R"("pain":{"before":-0,"during":4.00,"after":1E+1})") == "");
}

TEST_CASE("units are never guessed") {
  CHECK(said(R"("size":{"depth":{"value":1}})") == "unit.missing size.depth");
  CHECK(said(R"("size":{"depth":{"value":1,"unit":""}})") == "unit.missing size.depth");
  CHECK(message(R"("size":{"depth":{"value":1.50}})") == "the value 1.50 has no unit");
  CHECK(said(R"("size":{"depth":{"value":1,"unit":"cm","comparator":">="}})") == "");
  CHECK(said(R"("size":{"depth":{"value":1,"unit":"cm","comparator":"=>"}})") ==
        "comparator.unknown size.depth.comparator");
}

// FHIR R4 datatypes, code: [^\s]+(\s[^\s]+)*
TEST_CASE("codes have no blanks at their ends, systems none at all") {
  CHECK(said(R"("trend":"getting better")") == "");
  CHECK(said(R"("trend":" improving")") == "code.form trend");
  CHECK(said(R"("trend":"improving ")") == "code.form trend");
  CHECK(said(R"("trend":"getting  better")") == "code.form trend");
  CHECK(said(R"("trend":{"system":"urn:x","code":"1 2"})") == "");
  CHECK(said(R"("trend":{"system":"urn: x","code":"1"})") == "code.form trend.system");
  CHECK(said(R"("trend":{"system":"urn:x","code":"1\n"})") == "code.form trend.code");
}

TEST_CASE("a bad field is left out, its neighbours stay") {
  const auto reading = read(visit(
      R"("size":{"length":{"value":4.0},"width":{"value":2.0,"unit":"cm"}},"notes":["","dry"],"bed":[{"percent":101}])"));
  CHECK(reading.said() ==
        "unit.missing size.length\nfield.empty notes[0]\npercent.range bed[0].percent\n"
        "field.missing bed[0].tissue");
  CHECK(reading.written() == visit(R"("size":{"width":{"value":2.0,"unit":"cm"}},"notes":["dry"])"));
  CHECK(reading.findings.blocked_since(0));
}

TEST_CASE("a site's own finding keeps the kind that it came in") {
  const auto reading = read(visit(
      R"("extra":[{"name":"a","value":"x"},{"name":"b","value":{"code":"x"}},{"name":"c","value":{"text":"x"}},)"
      R"({"name":"d","value":3},{"name":"e","value":false},{"name":"f","value":{"value":3,"unit":"Cel"}}])"));
  REQUIRE(reading.said() == "");
  const auto* extra = reading.record.at(record::FieldId::extra);
  REQUIRE(extra->count == 6);
  std::string kinds;
  for (std::uint32_t i = 0; i < extra->count; ++i) {
    kinds += record::kind_name(record::member(extra->children[i], record::FieldId::extra_value)->kind);
    kinds += ' ';
  }
  CHECK(kinds == "text code code count flag quantity ");
}

TEST_CASE("a finding says where, and nothing of the patient") {
  const std::string text =
      "{\n  \"format\": \"wound-visit/1\",\n  \"id\": \"v-7\", \"status\": \"final\",\n"
      "  \"patient\": {\"id\": \"p1\", \"birthYear\": -19591231, \"Müller\": 1},\n"
      "  \"wound\": {\"id\": \"1\"},\n"
      "  \"performed\": {\"kind\": \"both\", \"outcome\": \"completed\", \"start\": \"2026\"}}";
  const auto reading = read(text);
  const auto& all = reading.findings.all();
  REQUIRE(reading.said() == "count.form patient.birthYear\nfield.unknown patient.`Müller`");
  CHECK(all[0].file == "visit.json");
  CHECK(all[0].record_key == "v-7");
  CHECK(all[0].line == 4);
  CHECK(all[0].column == 40);
  CHECK(all[1].line == 4);
  CHECK(all[1].column == 61);  // characters, not bytes
  CHECK(all[0].message.find("1959") == std::string::npos);
}

TEST_CASE("a long value is shown in part, cut between characters") {
  std::string long_word = "xy";
  for (int i = 0; i < 100; ++i) long_word += "ü";
  CHECK(message("\"trend\":\" " + long_word + "\"") == "' " + long_word.substr(0, 58) + "' is not a code");
}

TEST_CASE("offsets are those of the bytes") {
  const auto reading = read(visit(R"("trend":"improving","spaces":[{"kind":"tunnel","from":3}])"));
  const auto* trend = reading.record.at(record::FieldId::trend);
  CHECK(reading.bytes->substr(trend->offset, 11) == "\"improving\"");
  const auto* spaces = reading.record.at(record::FieldId::spaces);
  CHECK(reading.bytes->substr(spaces->offset, 2) == "[{");
  const auto* from = record::member(spaces->children[0], record::FieldId::spaces_from);
  CHECK(reading.bytes->substr(from->offset, 1) == "3");
}

TEST_CASE("texts from anywhere are judged like those of a record") {
  using record::FindingId;
  using record::Kind;
  CHECK(record::leaf_fault(Kind::text, "dry") == FindingId::count);
  CHECK(record::leaf_fault(Kind::text, "") == FindingId::field_empty);
  CHECK(record::leaf_fault(Kind::time, "2026-03-02") == FindingId::count);
  CHECK(record::leaf_fault(Kind::time, "20260302") == FindingId::time_form);
  CHECK(record::leaf_fault(Kind::decimal, "4.00") == FindingId::count);
  CHECK(record::leaf_fault(Kind::decimal, "4,00") == FindingId::number_form);
  CHECK(record::leaf_fault(Kind::percent, "4%") == FindingId::number_form);
  CHECK(record::leaf_fault(Kind::flag, "yes") == FindingId::field_kind);
}
