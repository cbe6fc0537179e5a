// Who and which wound: ids follow from the source's keys, and two people's wounds never meet.
#include <doctest/doctest.h>

#include "mapping/fhir.hpp"
#include "mapping/plan.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

std::string visit(std::string_view id, std::string_view patient, std::string_view wound,
                  std::string_view more = "") {
  return std::string(R"({"format":"wound-visit/1","id":")") + std::string(id) +
         R"(","status":"final","source":{"system":"https://invented.example/chart"},"patient":{"id":")" +
         std::string(patient) + R"(","system":"https://invented.example/patients"},"wound":{"id":")" +
         std::string(wound) +
         R"("},"performed":{"kind":"assessment","outcome":"completed","start":"2026-03-02T13:30+01:00"})" +
         std::string(more) + "}";
}

std::map<std::string, std::string> uuids(const std::string& text, const mapping::Options& options = {}) {
  const auto reading = read(text);
  REQUIRE(reading.said() == "");
  mapping::Plan plan(*loaded().mapping);
  plan.make(reading.record, options);
  std::map<std::string, std::string> all;
  for (const auto& one : plan.instances()) {
    std::string name = one.made_from->name;
    if (one.indexed) name += "." + std::to_string(one.index);
    all[name] = std::string(one.uuid_text());
  }
  return all;
}

}  // namespace

TEST_CASE("wound 1 of two patients is two wounds") {
  const auto a = uuids(visit("V1", "P1", "1"));
  const auto b = uuids(visit("V2", "P2", "1"));
  CHECK(a.at("wound") != b.at("wound"));
  CHECK(a.at("visit") != b.at("visit"));
}

TEST_CASE("one wound at two visits is one Condition, and everything of the visits is apart") {
  const auto a = uuids(visit("V1", "P1", "1", R"(,"size":{"length":{"value":3,"unit":"cm"}})"));
  const auto b = uuids(visit("V2", "P1", "1", R"(,"size":{"length":{"value":3,"unit":"cm"}})"));
  CHECK(a.at("wound") == b.at("wound"));
  for (const auto& [name, uuid] : a) {
    if (name != "wound" && name != "body") CHECK(b.at(name) != uuid);
  }
}

TEST_CASE("keys run together differently are different keys") {
  CHECK(uuids(visit("V1", "P1", "11")).at("wound") != uuids(visit("V1", "P11", "1")).at("wound"));
}

TEST_CASE("the user's namespace changes every id, and the same one gives the same ids") {
  mapping::Options ours;
  ours.name_space = "https://invented.example/ns";
  const auto a = uuids(visit("V1", "P1", "1"), ours);
  CHECK(a == uuids(visit("V1", "P1", "1"), ours));
  CHECK(a.at("wound") != uuids(visit("V1", "P1", "1")).at("wound"));
}

TEST_CASE("ids are version 5 UUIDs of the RFC 4122 variant (RFC 4122 section 4.1)") {
  for (const auto& named : uuids(visit("V1", "P1", "1"))) {
    CAPTURE(named.first);
    const auto& uuid = named.second;
    CHECK(uuid[14] == '5');
    CHECK(std::string("89ab").find(uuid[19]) != std::string::npos);
  }
}

TEST_CASE("no system anywhere blocks; a namespace helps") {
  const auto reading = read(
      R"({"format":"wound-visit/1","id":"V1","status":"final","patient":{"id":"P1"},"wound":{"id":"1"},"performed":{"kind":"assessment","outcome":"completed","start":"2026-03-02"}})");
  REQUIRE(reading.said() == "");
  record::Findings findings;
  findings.begin("visit.json", {}, *reading.bytes, 1);
  mapping::Writer(*loaded().mapping, {}).check(reading.record, findings);
  REQUIRE(findings.all().size() == 1);
  CHECK(findings.all().front().id == record::FindingId::identity_no_system);
  CHECK(findings.all().front().blocks);
  findings.clear();
  mapping::Options ours;
  ours.name_space = "https://invented.example/ns";
  mapping::Writer(*loaded().mapping, ours).check(reading.record, findings);
  CHECK(findings.all().empty());
}

TEST_CASE("a transaction updates what is a visit's by its identifier and creates the wound once") {
  const auto bundle = to_fhir(read(visit("V 1", "P1", "1")).record);
  CHECK(
      bundle.find(
          R"("request":{"method":"PUT","url":"Observation?identifier=https%3A%2F%2Finvented.example%2Fchart%7CV%201"})") !=
      std::string::npos);
  CHECK(
      bundle.find(
          R"("request":{"method":"POST","url":"Condition","ifNoneExist":"identifier=http%3A%2F%2Fcharpie.example%2Ffhir%2Fwound-id%7C)") !=
      std::string::npos);
  // Patient, Encounter and Practitioner belong to the receiver.
  CHECK(bundle.find(R"("resourceType":"Patient")") == std::string::npos);
}

TEST_CASE("entered in error marks the visit's resources and leaves the wound alone") {
  auto text = visit("V1", "P1", "1", R"(,"wound":{"id":"1"})");
  text = visit("V1", "P1", "1");
  text.replace(text.find("final"), 5, "entered-in-error");
  const auto bundle = to_fhir(read(text).record);
  const auto back = from_fhir(bundle);
  REQUIRE(back.records.size() == 1);
  CHECK(back.records.front().text(record::FieldId::status) == "entered-in-error");
  const auto condition = bundle.find(R"("resourceType":"Condition")");
  REQUIRE(condition != std::string::npos);
  const auto end = bundle.find("}}", condition);
  CHECK(bundle.substr(condition, end - condition).find("entered-in-error") == std::string::npos);
}

TEST_CASE("two visits in one collection come apart again") {
  const auto a = read(visit("V1", "P1", "1", R"(,"size":{"length":{"value":3,"unit":"cm"}})"));
  const auto b = read(visit("V2", "P2", "1", R"(,"size":{"length":{"value":5,"unit":"cm"}})"));
  mapping::Options options;
  options.pack = "collection";
  auto one = to_fhir(a.record, options), two = to_fhir(b.record, options);
  // Both entry lists in one Bundle.
  const auto entries = [](const std::string& text) {
    const auto from = text.find("\"entry\":[") + 9;
    return text.substr(from, text.size() - from - 2);
  };
  const auto both =
      R"({"resourceType":"Bundle","type":"collection","entry":[)" + entries(one) + "," + entries(two) + "]}";
  const auto back = from_fhir(both, options);
  CHECK(back.said() == "");
  REQUIRE(back.records.size() == 2);
  CHECK(record::compare(a.record, back.records[0], nullptr) == 0);
  CHECK(record::compare(b.record, back.records[1], nullptr) == 0);
}

TEST_CASE(
    "no identifier looks like the entry's own URL: a server that rewrites references would rewrite it too") {
  const auto bundle = to_fhir(read(visit("V1", "P1", "1")).record);
  CHECK(bundle.find(R"("value":"urn:uuid:)") == std::string::npos);
}
