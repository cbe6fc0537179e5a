#include "flow/explanation.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "flow/instance_path.hpp"
#include "flow/piece_reader.hpp"
#include "sample_records.hpp"
#include "syntax/json.hpp"

using namespace charpie;
using namespace charpie::flow;

TEST_CASE("every leaf of the Bundle is explained, once, with a line of the mapping") {
  PieceReader reader(test_engine(), record_form(), {});
  const auto piece = piece_of(project_file("tests/cases/hard/every-field.json"));
  const auto records = reader.read(piece, "every-field.json");
  REQUIRE(records.size() == 1);
  const auto explained = explain_bundle(records.front(), test_engine().mapping(), {});
  REQUIRE(explained);
  const auto& elements = *explained;

  mapping::Writer writer(test_engine().mapping(), {});
  std::string bundle;
  writer.write_bundle(records.front(), bundle);
  Arena arena;
  const auto tree = syntax::read_json(bundle, arena, test_engine().mapping().names());
  REQUIRE(tree);
  std::size_t leaves = 0;
  visit_leaves(**tree, [&](const std::string& path, const syntax::Node&) {
    leaves += path.starts_with("Bundle.entry[");
  });
  CHECK(elements.size() == leaves);
  for (const auto& one : elements) {
    CAPTURE(one.element);
    CHECK(one.file.starts_with("fhir/"));
    CHECK(one.line > 0);
  }
  // A field that holds a value has a home among them. The charted text stands in it as it was written.
  const auto home = std::find_if(elements.begin(), elements.end(), [](const ExplainedElement& one) {
    return !one.mirror && std::find(one.fields.begin(), one.fields.end(), "size.length") != one.fields.end();
  });
  REQUIRE(home != elements.end());
  CHECK(home->resource_type == "Observation");
}

TEST_CASE("keeping track of the origin changes no byte of the output") {
  PieceReader reader(test_engine(), record_form(), {});
  const auto piece = piece_of(project_file("tests/cases/hard/every-field.json"));
  const auto records = reader.read(piece, "every-field.json");
  mapping::Writer writer(test_engine().mapping(), {});
  std::string plain, traced;
  std::vector<mapping::Lineage> lineage;
  writer.write_bundle(records.front(), plain);
  writer.trace(&lineage);
  writer.write_bundle(records.front(), traced);
  CHECK(plain == traced);
  CHECK(lineage.size() > 100);
}

TEST_CASE("a place in the bytes has a path") {
  const std::string text = R"({"resourceType":"X","a":[{"b":1},{"_c":{"d":"e f"}}]})";
  syntax::Names names;
  Arena arena;
  const auto tree = syntax::read_json(text, arena, names);
  REQUIRE(tree);
  const auto path = [&](const std::string& piece) {
    const auto at = text.find(piece);
    return instance_path(**tree, at, at + piece.size());
  };
  CHECK(path("1") == "X.a[0].b");
  CHECK(path("e f") == "X.a[1].c.d");
  CHECK(path("f") == "X.a[1].c.d");
  CHECK(path(R"({"d")") == "X.a[1].c");
  CHECK(path(R"("a")") == "X");
  CHECK(instance_path(**tree, 0, text.size() + 1).empty());
}
