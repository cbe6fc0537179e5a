// The published schema says what the dictionary says. Whether it judges records as the reader does was
// checked with a validator from elsewhere; here its parts are looked at.
#include "record/schema.hpp"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "record/dictionary.hpp"
#include "record/finding.hpp"
#include "record/generate.hpp"

using namespace charpie;
using Json = nlohmann::ordered_json;

namespace {

void each(const Json& json, const std::function<void(const Json&)>& visit) {
  visit(json);
  if (json.is_structured()) {
    for (const auto& inner : json) each(inner, visit);
  }
}

// The object that describes a group or the elements of its list.
const Json& shape_of(const Json& property) {
  const Json* at = &property;
  if (at->contains("anyOf")) at = &at->at("anyOf").at(0);
  if (at->contains("items")) at = &at->at("items");
  return *at;
}

}  // namespace

TEST_CASE("every field has its place, its meaning and its answers") {
  const Json schema = record::record_schema();
  CHECK(schema.at("$schema") == "https://json-schema.org/draft/2020-12/schema");
  for (const auto& row : record::dictionary().subspan(1)) {
    CAPTURE(row.path);
    const Json* group = &schema;
    std::vector<const record::Field*> above;
    for (auto id = row.parent; id != record::FieldId::visit; id = record::field(id).parent) {
      above.insert(above.begin(), &record::field(id));
    }
    for (const auto* step : above) group = &shape_of(group->at("properties").at(std::string(step->name)));
    const Json& property = group->at("properties").at(std::string(row.name));
    CHECK(property.at("description") == std::string(row.meaning));
    const auto text = property.dump();
    CHECK((property.contains("anyOf") && text.find("#/$defs/absent") != text.npos) == (row.may_be_absent()));
    const Json required = group->value("required", Json::array());
    CHECK((std::find(required.begin(), required.end(), std::string(row.name)) != required.end()) ==
          (row.occurs == record::Occurs::required));
    const Json answers = property.value("anyOf", Json::array());
    CHECK((std::find(answers.begin(), answers.end(), Json{{"const", "none"}}) != answers.end()) ==
          row.may_be_none());
    const Json& value = row.may_be_absent() ? property.at("anyOf").at(0) : property;
    CHECK((value.value("type", "") == "array") == row.is_list());
    if (row.is_list()) CHECK(value.at("minItems") == 1);
    if (row.is_group()) CHECK(shape_of(property).at("additionalProperties") == false);
  }
}

TEST_CASE("every reference leads somewhere, every definition is used") {
  const Json schema = record::record_schema();
  std::set<std::string> used;
  each(schema, [&](const Json& part) {
    if (!part.is_object() || !part.contains("$ref")) return;
    const auto target = part.at("$ref").get<std::string>();
    REQUIRE(target.starts_with("#/$defs/"));
    CHECK(schema.at("$defs").contains(target.substr(8)));
    used.insert(target.substr(8));
  });
  for (const auto& definition : schema.at("$defs").items()) {
    CAPTURE(definition.key());
    CHECK(used.contains(definition.key()));
  }
}

TEST_CASE("words are listed when they are known") {
  const Json schema = record::record_schema([](std::string_view domain) {
    return domain == "odor" ? std::vector<std::string>{"none", "foul"} : std::vector<std::string>{};
  });
  CHECK(schema.at("$defs").at("code-odor").at("anyOf").at(0) == Json{{"enum", {"none", "foul"}}});
  CHECK(schema.at("$defs").at("code-technique").at("anyOf").at(0) == Json{{"$ref", "#/$defs/token"}});
  const Json& reasons = schema.at("$defs").at("absent").at("properties").at("absent").at("enum");
  CHECK(schema.at("$defs").at("also").at("minItems") == 1);
  CHECK(reasons.size() == 15);
  CHECK(reasons.at(0) == "unknown");
}

TEST_CASE("the start is required unless nothing was done") {
  const Json performed = record::record_schema().at("properties").at("performed");
  CHECK(performed.at("if").at("properties").at("outcome").at("const") == "not-done");
  CHECK(performed.at("else").at("required") == Json{"start"});
}

TEST_CASE("the pages name every field and every finding once") {
  const std::string fields = record::dictionary_page();
  for (const auto& row : record::dictionary().subspan(1)) {
    const std::string start = "\n| `" + std::string(row.path) + (row.is_list() ? "[]` |" : "` |");
    CAPTURE(start);
    REQUIRE(fields.find(start) != fields.npos);
    CHECK(fields.find(start, fields.find(start) + 1) == fields.npos);
  }
  CHECK(fields.find("| `removed.drainage.extent` | quantity(L or L2) |  | absent |") != fields.npos);
  const std::string findings = record::findings_page();
  for (const auto& kind : record::finding_kinds()) {
    CHECK(findings.find("| `" + std::string(kind.slug) + "` |") != findings.npos);
  }
  // Five columns in each row, whatever the texts hold.
  for (const auto& page : {fields, findings}) {
    std::size_t bars = 0;
    for (std::size_t i = 0; i < page.size(); ++i) {
      if (page[i] == '|' && page[i - (i > 0)] != '\\') ++bars;
      if (page[i] != '\n') continue;
      CHECK(bars == 6);
      bars = 0;
    }
  }
}
