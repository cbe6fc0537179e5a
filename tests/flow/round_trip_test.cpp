#include "flow/round_trip.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "flow/piece_reader.hpp"
#include "sample_records.hpp"

using namespace charpie;
using namespace charpie::flow;
using record::FieldId;

namespace {

/// Reads one record, lets `change` spoil it in memory, and sends it there and back.
template <class Change>
TripReport send(const std::string& path, Change change, const mapping::Options& options = {}) {
  PieceReader reader(test_engine(), record_form(), options);
  const auto piece = piece_of(project_file(path));
  const auto records = reader.read(piece, path);
  REQUIRE(records.size() == 1);
  change(records.front());
  reader.begin_findings(records.front());
  RoundTrip trip(test_engine(), fhir_r4_form(), options);
  return trip.send(records.front(), reader.findings());
}

void nothing(record::Record&) {}

}  // namespace

TEST_CASE("a record that comes back the same says so") {
  const auto report = send("tests/cases/hard/mixed-closure.json", nothing);
  CHECK(report.same);
  CHECK(report.trouble.empty());
  CHECK(report.differences.empty());
  CHECK(report.not_carried == 0);
}

TEST_CASE("a value that cannot come back is told with both values and its places") {
  // No reader would let this text pass as a time, so that nothing else than a difference can come of it.
  const auto report = send("tests/cases/hard/mixed-closure.json", [](record::Record& record) {
    auto* performed = record.root->children[record::field(FieldId::performed).slot];
    performed->children[record::field(FieldId::performed_start).slot]->text = "no time at all";
  });
  CHECK_FALSE(report.same);
  const auto found = std::find_if(report.differences.begin(), report.differences.end(),
                                  [](const Difference& one) { return one.path == "performed.start"; });
  REQUIRE(found != report.differences.end());
  CHECK(found->sent == "\"no time at all\"");
  CHECK(found->came_back != found->sent);
  REQUIRE_FALSE(found->where.empty());
  // The home comes first, the copies behind it.
  CHECK_FALSE(found->where.front().mirror);
  CHECK(found->where.front().element.find("resource.performed") != std::string::npos);
  CHECK(found->where.front().file == "fhir/procedures.json");
  CHECK(found->where.front().line > 0);
  CHECK(std::any_of(found->where.begin(), found->where.end(), [](const Whereabouts& one) {
    return one.mirror && one.element.find("effectiveDateTime") != std::string::npos;
  }));
}

TEST_CASE("what a target says beforehand that it does not hold is counted and is no difference") {
  const auto report = send("tests/cases/hard/every-field.json", nothing);
  CHECK(report.same);
  CHECK(report.not_carried == 2);  // year of birth and sex, without --refs include
  mapping::Options include;
  include.refs = "include";
  CHECK(send("tests/cases/hard/every-field.json", nothing, include).not_carried == 0);
}

TEST_CASE("a path lies in a field as a whole name only") {
  CHECK(lies_in("size.length", "size"));
  CHECK(lies_in("spaces[1].extent", "spaces"));
  CHECK(lies_in("spaces[1]", "spaces[1]"));
  CHECK_FALSE(lies_in("spaces[11]", "spaces[1"));
  CHECK_FALSE(lies_in("sizes", "size"));
}
