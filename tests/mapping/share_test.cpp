// Parts are made once where templates take them alike, and not where they mean something else.
#include <doctest/doctest.h>

#include <set>

#include "mapping/fhir.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

const mapping::Part* member(const mapping::Mapping& of, std::string_view name, std::string_view wanted) {
  const auto* made_from = of.find(name);
  REQUIRE(made_from != nullptr);
  for (const auto* part : made_from->body->parts) {
    if (of.names().text(part->name) == wanted) return part;
  }
  return nullptr;
}

void gather(const mapping::Part& part, std::set<const mapping::Part*>& parts, std::size_t& places) {
  ++places;
  parts.insert(&part);
  for (const auto* below : part.parts) gather(*below, parts, places);
}

}  // namespace

TEST_CASE("what templates take alike from a frame is one part") {
  const auto& set = *loaded().mapping;
  for (const auto* name : {"status", "category", "subject", "effectiveDateTime", "_effectiveDateTime"}) {
    CAPTURE(name);
    const auto* part = member(set, "size", name);
    REQUIRE(part != nullptr);
    CHECK(part == member(set, "trend", name));
  }
  std::set<const mapping::Part*> parts;
  std::size_t places = 0;
  for (const auto& one : set.templates()) gather(*one.body, parts, places);
  CHECK(parts.size() * 4 < places * 3);
}

TEST_CASE("what depends on the template or on the list around it is not") {
  const auto& set = *loaded().mapping;
  CHECK(member(set, "size", "code") != member(set, "trend", "code"));  // holds the template's name
  CHECK(member(set, "size", "text") != member(set, "trend", "text"));
  const auto in_list = std::find_if(set.templates().begin(), set.templates().end(), [](const auto& one) {
    return one.has_loop && !one.one_way && one.resource_type == "Observation";
  });
  REQUIRE(in_list != set.templates().end());
  const auto* status = member(set, in_list->name, "status");
  REQUIRE(status != nullptr);
  CHECK(status != member(set, "size", "status"));  // a name is looked for in the element first
  CHECK(status->shared == member(set, "size", "status")->shared);
}
