// A number that a form cannot hold stays away with its unit and its words: what is left comes back whole.
#include "mapping/fitting.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "mapping/fhir.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

// The sample with other numbers: each pair is a text of it and what stands in its place.
std::string visit_with(const std::vector<std::pair<std::string, std::string>>& changes) {
  auto text = records_of("samples/one-visit.json").front();
  for (const auto& [from, to] : changes) {
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    text.replace(at, from.size(), to);
  }
  return text;
}

const std::pair<std::string, std::string> distance_change{R"("distance": {"value": 3,)",
                                                          R"("distance": {"value": 3e0,)"};
const std::pair<std::string, std::string> latest_change{R"("latestBy": {"value": 7,)",
                                                        R"("latestBy": {"value": 7E0,)"};

struct Sent {
  std::vector<std::string> told;  // not-in-form
  std::string bundle;
  Back back;
  Differences differences;
};

Sent send(const Reading& reading, std::string_view form) {
  Sent sent;
  const auto& mapping = mapping_of(form);
  mapping::Writer writer(mapping, {});
  record::Findings findings;
  findings.begin("visit.json", {}, *reading.bytes, 1);
  writer.check(reading.record, findings);
  for (const auto& one : findings.all()) {
    if (one.id == record::FindingId::not_in_form) sent.told.push_back(one.path);
  }
  writer.write_bundle(reading.record, sent.bundle);
  sent.back = from_fhir(sent.bundle, {}, mapping);
  REQUIRE(sent.back.records.size() == 1);
  record::compare(reading.record, sent.back.records.front(), &sent.differences);
  std::string again;
  writer.write_bundle(sent.back.records.front(), again);
  CHECK(again == sent.bundle);
  return sent;
}

}  // namespace

TEST_CASE("a quantity whose number has an exponent stays away whole from R5, and goes to R4") {
  const auto text = visit_with({distance_change, latest_change});
  const auto reading = read(text);
  REQUIRE(reading.said() == "");
  for (const auto* form : {"fhir-r4", "fhir-r4b"}) {
    const auto there = send(reading, form);
    CHECK(there.told.empty());
    CHECK(there.back.said() == "");
    CHECK(there.bundle.find("7E0") != std::string::npos);
  }
  const auto sent = send(reading, "fhir-r5");
  const std::vector<std::string> expected = {"wound.landmark.distance", "order.repeat.latestBy"};
  CHECK(sent.told == expected);
  CHECK(sent.back.said() == "");  // neither a unit alone nor a copy of what is not there
  for (const auto& path : expected)
    CHECK(std::count(sent.differences.paths.begin(), sent.differences.paths.end(), path) == 1);
  CHECK(sent.bundle.find("latest-by") == std::string::npos);
  CHECK(sent.bundle.find("7E0") == std::string::npos);
  CHECK(sent.bundle.find("above the cleft") != std::string::npos);  // its neighbour stays
}

TEST_CASE("so does one with too many digits, and a group of which nothing else is left") {
  const auto plain = send(read(visit_with({})), "fhir-r5");
  const auto many =
      read(visit_with({{R"("landmark": {"description": "above the cleft", "distance": {"value": 3,)",
                        R"("landmark": {"distance": {"value": 1234567890123456789,)"}}));
  REQUIRE(many.said() == "");
  const auto sent = send(many, "fhir-r5");
  CHECK(sent.told == std::vector<std::string>{"wound.landmark.distance"});
  CHECK(sent.back.said() == "");
  CHECK(sent.back.records.front().at(record::FieldId::wound_landmark) == nullptr);
  CHECK(plain.bundle.find("wound.landmark") != std::string::npos);
  CHECK(sent.bundle.find("wound.landmark") == std::string::npos);  // no instance that says nothing
}

TEST_CASE("what fits is not copied, what does not is taken out of the copy alone") {
  const auto& mapping = mapping_of("fhir-r5");
  mapping::Fitting fitting(mapping);
  mapping::Writer writer(mapping, {});
  const auto plain = read(visit_with({}));
  CHECK(fitting.of(plain.record, writer.facets()).root == plain.record.root);
  const auto reading = read(visit_with({latest_change}));
  const auto held = fitting.of(reading.record, writer.facets());
  CHECK(held.root != reading.record.root);
  CHECK(held.at(record::FieldId::order_repeat_latestBy) == nullptr);
  CHECK(reading.record.at(record::FieldId::order_repeat_latestBy) != nullptr);
  CHECK(held.at(record::FieldId::wound) == reading.record.at(record::FieldId::wound));
}
