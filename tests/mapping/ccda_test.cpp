// What is written for C-CDA has the structure that C-CDA 5.0.0 asks of its wound entries: template
// identifiers, fixed codes and how often each part stands (HL7/CDA-ccda 5.0.0:
// templates 4.114, 4.133, 4.134, 4.77).
#include <doctest/doctest.h>

#include "mapping/document_text.hpp"
#include "mapping/fhir.hpp"
#include "syntax/xml.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

using syntax::XmlNode;

constexpr std::string_view hl7 = "urn:hl7-org:v3";

std::vector<const XmlNode*> children(const XmlNode& node, std::string_view name) {
  std::vector<const XmlNode*> all;
  for (const XmlNode* at = node.first; at != nullptr; at = at->next) {
    if (at->is(hl7, name)) all.push_back(at);
  }
  return all;
}

std::string_view attribute(const XmlNode& node, std::string_view name) {
  const auto* one = node.attribute(name);
  return one == nullptr ? std::string_view{} : one->value;
}

std::string_view type_of(const XmlNode& node) {
  for (const auto* one = node.attributes; one != nullptr; one = one->next) {
    if (one->name_text == "type" && one->space == "http://www.w3.org/2001/XMLSchema-instance")
      return one->value;
  }
  return {};
}

bool has_template(const XmlNode& node, std::string_view last, std::string_view extension = {}) {
  for (const auto* one : children(node, "templateId")) {
    if (attribute(*one, "root") == "2.16.840.1.113883.10.20.22." + std::string(last) &&
        attribute(*one, "extension") == extension)
      return true;
  }
  return false;
}

// What all of them ask: id 1..*, code 1..1, statusCode completed, effectiveTime 1..1, value 1..1, in the
// schema's order.
void check_observation(const XmlNode& node) {
  CHECK(children(node, "id").size() >= 1);
  CHECK(children(node, "code").size() == 1);
  REQUIRE(children(node, "statusCode").size() == 1);
  CHECK(attribute(*children(node, "statusCode").front(), "code") == "completed");
  CHECK(children(node, "effectiveTime").size() == 1);
  CHECK(children(node, "value").size() == 1);
  constexpr std::string_view order[] = {"templateId",    "id",    "code",           "statusCode",
                                        "effectiveTime", "value", "targetSiteCode", "entryRelationship"};
  std::size_t place = 0;
  for (const XmlNode* at = node.first; at != nullptr; at = at->next) {
    while (place < std::size(order) && order[place] != at->name_text) ++place;
    CHECK(place < std::size(order));
  }
}

struct Counts {
  int wounds = 0, measurements = 0, characteristics = 0, stages = 0;
};

void check_wound(const XmlNode& wound, Counts& counts) {
  ++counts.wounds;
  CHECK(has_template(wound, "4.114", "2015-08-01"));
  CHECK(has_template(wound, "4.4", "2024-05-01"));
  check_observation(wound);
  CHECK(attribute(*children(wound, "code").front(), "code") == "ASSERTION");
  CHECK(children(*children(wound, "effectiveTime").front(), "low").size() == 1);
  CHECK(type_of(*children(wound, "value").front()) == "CD");
  for (const auto* relation : children(wound, "entryRelationship")) {
    for (const auto* one : children(*relation, "observation")) {
      CHECK(attribute(*relation, "typeCode") == "COMP");
      check_observation(*one);
      const auto& value = *children(*one, "value").front();
      const auto code = attribute(*children(*one, "code").front(), "code");
      if (has_template(*one, "4.133")) {
        ++counts.measurements;
        CHECK(type_of(value) == "PQ");
      } else if (has_template(*one, "4.134")) {
        ++counts.characteristics;
        CHECK(code == "ASSERTION");
        CHECK(type_of(value) == "CD");
      } else {
        ++counts.stages;
        CHECK(has_template(*one, "4.77"));
        CHECK(code == "420905001");
      }
    }
  }
}

}  // namespace

TEST_CASE("wound entries written for C-CDA have the structure that it asks for") {
  auto set = mapping::Mapping::load(loaded().tables, loaded().terms, loaded().fixed, "sites/c-cda", "c-cda");
  REQUIRE(set);
  mapping::Writer writer(**set, {});
  Counts counts;
  for (const auto& text : records_of("samples/visits.ndjson")) {
    const auto reading = read(text);
    std::string json, xml;
    writer.write_bundle(reading.record, json);
    REQUIRE(mapping::write_document(json, **set, xml));
    Arena arena;
    const syntax::Names names;
    const auto document = syntax::read_xml(xml, arena, names);
    REQUIRE(document);
    const XmlNode* at = document->root;
    CHECK(at->is(hl7, "ClinicalDocument"));
    for (const auto* name : {"component", "structuredBody", "component", "section", "entry", "observation"}) {
      REQUIRE(children(*at, name).size() == 1);
      at = children(*at, name).front();
    }
    check_wound(*at, counts);
  }
  CHECK(counts.wounds == 33);
  CHECK(counts.measurements > 33);
  CHECK(counts.characteristics > 33);
  CHECK(counts.stages > 0);
}
