// What is published of the mappings is what they do: each extension that is written is defined as it is
// written, each one that is defined is written, and each row of a site's words is told.
#include "flow/publish.hpp"

#include <doctest/doctest.h>

#include <list>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "mapping/fhir.hpp"
#include "sample_records.hpp"

using namespace charpie;
using Json = nlohmann::ordered_json;

namespace {

const flow::Engine& fhir_engine() {
  static const Tables tables(embedded_tables());
  static const auto engine = [] {
    const flow::Wanted wanted[] = {{&flow::fhir_r4_form()}};
    return flow::Engine::load(tables, {}, {}, wanted);
  }();
  return **engine;
}
const mapping::Mapping& fhir_mapping() {
  return fhir_engine().mapping();
}
const fhir::Elements& elements() {
  return *fhir_engine().elements(flow::fhir_r4_form());
}

// The definitions by url.
const std::map<std::string, Json>& definitions() {
  static const auto all = [] {
    std::map<std::string, Json> by_url;
    const auto bundle = flow::extensions_as_fhir(fhir_mapping(), elements());
    for (const auto& entry : bundle.at("entry"))
      by_url.emplace(entry.at("resource").at("url"), entry.at("resource"));
    return by_url;
  }();
  return all;
}
const Json& definition(const std::string& slug) {
  return definitions().at("http://charpie.example/fhir/StructureDefinition/" + slug);
}

// The element of a differential with that id, or null.
Json element(const Json& definition, const std::string& id) {
  for (const auto& one : definition.at("differential").at("element")) {
    if (one.at("id") == id) return one;
  }
  return {};
}

std::set<std::string> contexts(const Json& definition) {
  std::set<std::string> all;
  for (const auto& one : definition.at("context")) {
    CHECK(one.at("type") == "element");
    all.insert(one.at("expression"));
  }
  return all;
}

std::set<std::string> types(const Json& value) {
  std::set<std::string> all;
  if (value.contains("type")) {
    for (const auto& one : value.at("type")) all.insert(one.at("code"));
  }
  return all;
}

// Holds the extensions in a resource against their definitions, and notes what was met.
class Judge {
 public:
  std::set<std::string> problems, met;

  void look(const Json& value, const fhir::Shape* shape, const std::set<std::string>& places) {
    if (value.is_array()) {
      for (const auto& item : value) look(item, shape, places);
      return;
    }
    if (!value.is_object()) return;
    for (const auto& [name, below] : value.items()) {
      if (name == "extension") {
        judge_all(below, places);
        continue;
      }
      if (shape == nullptr) continue;
      const auto* member = shape->member(elements().names().find(name));
      if (member == nullptr) continue;
      const std::set<std::string> here{std::string(member->element->path), std::string(member->type->name)};
      look(below, member->companion ? nullptr : member->type->shape, here);
    }
  }

 private:
  void judge_all(const Json& list, const std::set<std::string>& places) {
    std::map<std::string, int> counts;
    for (const auto& one : list) {
      const std::string url = one.at("url");
      if (url.starts_with("http://charpie.example/")) {
        const auto known = definitions().find(url);
        if (known == definitions().end()) {
          problems.insert("not defined: " + url);
          continue;
        }
        met.insert(url);
        bool fits = false;
        for (const auto& context : contexts(known->second)) fits = fits || places.contains(context);
        if (!fits) problems.insert(url + " on " + *places.begin() + " or " + *places.rbegin());
        if (element(known->second, "Extension").at("max") == "1" && ++counts[url] > 1)
          problems.insert(url + " stands twice");
        judge(one, known->second, "Extension");
      } else {
        look(one, elements().type("Extension"), {});
      }
    }
  }

  void judge(const Json& extension, const Json& defined, const std::string& id) {
    const std::string url = extension.at("url");
    if (element(defined, id + ".url").at("fixedUri") != url) problems.insert(id + " is not " + url);
    const auto value = element(defined, id + ".value[x]");
    std::string said;
    for (const auto& [name, below] : extension.items()) {
      if (!name.starts_with("value") && !name.starts_with("_value")) continue;
      const auto* member = elements().type("Extension")->member(elements().names().find(name));
      said = member->type->name;
      if (!types(value).contains(said)) problems.insert(id + " of " + url + " is a " + said);
      if (value.contains("fixedCode") && value.at("fixedCode") != below)
        problems.insert(id + " says " + below.dump());
      look(below, member->companion ? nullptr : member->type->shape, {"Extension.value[x]", said});
    }
    if (said.empty() && value.contains("min") && value.at("min") == 1)
      problems.insert(id + " of " + url + " has no value");
    std::map<std::string, int> parts;
    if (extension.contains("extension")) {
      for (const auto& part : extension.at("extension")) {
        const auto slice = id + ".extension:" + part.at("url").get<std::string>();
        if (element(defined, slice).is_null()) {
          problems.insert("not defined: " + slice);
          continue;
        }
        met.insert(defined.at("id").get<std::string>() + " " + slice);
        ++parts[slice];
        judge(part, defined, slice);
      }
    }
    for (const auto& one : defined.at("differential").at("element")) {
      const std::string slice = one.at("id");
      if (!one.contains("sliceName") || !slice.starts_with(id + ".extension:") ||
          slice.find('.', id.size() + 11) != std::string::npos)
        continue;
      if (one.at("min") == 1 && parts[slice] == 0) problems.insert("missing: " + slice);
      if (one.at("max") == "1" && parts[slice] > 1) problems.insert("twice: " + slice);
    }
  }
};

void judge_record(Judge& judge, const std::string& text, const mapping::Options& options) {
  const auto reading = tests::read(text);
  mapping::Writer writer(fhir_mapping(), options);
  std::string bytes;
  writer.write_bundle(reading.record, bytes);
  const auto bundle = Json::parse(bytes);
  for (const auto& entry : bundle.at("entry")) {
    const auto& resource = entry.at("resource");
    const std::string type = resource.at("resourceType");
    judge.look(resource, elements().type(type), {type});
  }
}

const std::string layouts[] = {"site:elbtal", "site:northmoor", "site:lakeside", "c-cda"};

// What is told of a layout, with the engine that it was made from.
struct Words {
  std::unique_ptr<flow::SiteForm> form;
  std::unique_ptr<flow::Engine> engine;
  Json bundle;
};
Words words_of(const std::string& layout) {
  static const Tables tables(embedded_tables());
  Words made;
  made.form = std::move(flow::SiteForm::open(layout, tables)).value();
  const flow::Wanted wanted[] = {{&made.form->form()}};
  made.engine = std::move(flow::Engine::load(tables, {}, {}, wanted)).value();
  made.bundle = flow::words_as_fhir(made.engine->mapping(made.form->form()), layout);
  return made;
}
Json map_of(const Json& bundle, const std::string& id) {
  for (const auto& entry : bundle.at("entry")) {
    if (entry.at("resource").at("id") == id) return entry.at("resource");
  }
  return {};
}
// "cell > code equivalence" of all groups.
std::vector<std::string> rows_of(const Json& map) {
  std::vector<std::string> rows;
  for (const auto& group : map.at("group")) {
    for (const auto& one : group.at("element")) {
      for (const auto& target : one.at("target")) {
        rows.push_back(one.at("display").get<std::string>() + " > " +
                       (target.contains("code") ? target.at("code").get<std::string>() : "") + " " +
                       target.at("equivalence").get<std::string>());
      }
    }
  }
  return rows;
}

}  // namespace

TEST_CASE("what FHIR R4 output has of our extensions is defined as it is written, and nothing else is") {
  Judge judge;
  mapping::Options options;
  options.stamp = "2026-03-02T10:30:00Z";
  for (const auto& text : tests::records_of("samples/visits.ndjson")) judge_record(judge, text, options);
  for (const auto& text : tests::hard_cases()) judge_record(judge, text, options);
  tests::GeneratorOptions real;
  real.words = tests::real_words;
  tests::Generator generator(20261128, real);
  for (int i = 0; i < 200; ++i) {
    options.units = i % 2 == 0 ? "fixed" : "charted";
    judge_record(judge, generator.wild(), options);
  }
  for (const auto& problem : judge.problems) FAIL_CHECK(problem);
  for (const auto& known : definitions()) {
    const auto& url = known.first;
    const auto& one = known.second;
    CHECK_MESSAGE(judge.met.contains(url), "nobody writes " << url);
    for (const auto& part : one.at("differential").at("element")) {
      if (!part.contains("sliceName")) continue;
      const auto id = one.at("id").get<std::string>() + " " + part.at("id").get<std::string>();
      CHECK_MESSAGE(judge.met.contains(id), "nobody writes " << id);
    }
  }
}

TEST_CASE("a simple extension: contexts, one value, no parts") {
  const auto& estimated = definition("estimated");
  CHECK(estimated.at("resourceType") == "StructureDefinition");
  CHECK(estimated.at("id") == "estimated");
  CHECK(estimated.at("name") == "Estimated");
  CHECK(estimated.at("fhirVersion") == "4.0.1");
  CHECK(estimated.at("kind") == "complex-type");
  CHECK(estimated.at("abstract") == false);
  CHECK(estimated.at("type") == "Extension");
  CHECK(estimated.at("baseDefinition") == "http://hl7.org/fhir/StructureDefinition/Extension");
  CHECK(estimated.at("derivation") == "constraint");
  CHECK(contexts(estimated) == std::set<std::string>{"Quantity", "Timing.repeat.period"});
  CHECK(element(estimated, "Extension").at("max") == "1");
  CHECK(element(estimated, "Extension.extension").at("max") == "0");
  CHECK(element(estimated, "Extension.url").at("fixedUri") == estimated.at("url"));
  const auto value = element(estimated, "Extension.value[x]");
  CHECK(value.at("min") == 1);
  CHECK(types(value) == std::set<std::string>{"boolean"});
  CHECK(contexts(definition("record-source")) == std::set<std::string>{"Observation.identifier"});
}

TEST_CASE("an extension of parts: a slice each, what is always there is required") {
  const auto& use = definition("material-use");
  CHECK(element(use, "Extension.value[x]").at("max") == "0");
  CHECK(element(use, "Extension.extension").at("slicing").at("discriminator").at(0).at("path") == "url");
  CHECK(element(use, "Extension.extension:use").at("min") == 1);
  CHECK(element(use, "Extension.extension:lot").at("min") == 0);
  CHECK(element(use, "Extension.extension:lot").at("max") == "1");
  CHECK(element(use, "Extension.extension:lot.url").at("fixedUri") == "lot");
  CHECK(types(element(use, "Extension.extension:lot.value[x]")) == std::set<std::string>{"string"});
  CHECK(element(use, "Extension.extension:role.value[x]").at("binding").at("valueSet") ==
        "http://charpie.example/fhir/ValueSet/layer-role");
}

TEST_CASE(
    "an extension that is added to a template is defined without a further row, unless it is only read") {
  std::list<std::string> texts;
  std::vector<TableFile> files = embedded_tables();
  const auto replace = [&](std::string_view path, std::string_view what, std::string_view by) {
    for (auto& file : files) {
      if (file.path != path) continue;
      auto& text = texts.emplace_back(file.text);
      const auto at = text.find(what);
      REQUIRE(at != std::string::npos);
      text.replace(at, what.size(), by);
      file.text = text;
    }
  };
  const std::string digest =
      R"("url": "<canonical>/StructureDefinition/charted-digest", "valueString": "{hash}" })";
  replace("fhir/findings.json", digest,
          digest + R"(, { "url": "<canonical>/StructureDefinition/shot", "valueCode": "near" })" +
              R"(, { "url": "<canonical>/StructureDefinition/shot", "valueCode": "far" })");
  replace(
      "fhir/elsewhere.json", R"("code": "{<standard>}",)",
      R"("code": "{<standard>}", "extension": [{ "url": "<canonical>/StructureDefinition/seen", "valueCode": "x" }],)");
  const Tables tables(files);
  const flow::Wanted wanted[] = {{&flow::fhir_r4_form()}};
  const auto engine = flow::Engine::load(tables, {}, {}, wanted);
  REQUIRE_MESSAGE(engine, engine.error().message);
  const auto bundle =
      flow::extensions_as_fhir((*engine)->mapping(), *(*engine)->elements(flow::fhir_r4_form()));
  CHECK(bundle.at("entry").size() == definitions().size() + 1);
  for (const auto& entry : bundle.at("entry")) {
    const auto& shot = entry.at("resource");
    if (shot.at("id") != "shot") continue;
    CHECK(element(shot, "Extension").at("max") == "*");
    CHECK(element(shot, "Extension").at("definition") == "one of: far, near");
    CHECK(contexts(shot) == std::set<std::string>{"DocumentReference.content.attachment"});
  }
}

TEST_CASE("a definition says in words what it holds, as the dictionary has it") {
  for (const auto& known : definitions()) {
    const auto& url = known.first;
    const auto& one = known.second;
    for (const auto& part : one.at("differential").at("element")) {
      if (!part.contains("definition")) continue;
      CHECK_MESSAGE(part.at("definition") != "", url << " " << part.at("id"));
    }
  }
  const auto& source = definition("record-source");
  CHECK(element(source, "Extension").at("definition") == "source: where the record came from");
  CHECK(element(source, "Extension.extension:message").at("definition") ==
        "source.message: message control id");
}

// R4 4.0.1, profiling: sdf-14 (ids), sdf-8a (first path), eld-2, and ids unique (from memory).
TEST_CASE("a differential has ids that are its own and paths that begin with the type") {
  for (const auto& known : definitions()) {
    const auto& url = known.first;
    const auto& one = known.second;
    std::set<std::string> ids;
    const auto& all = one.at("differential").at("element");
    CHECK(all.at(0).at("path") == "Extension");
    for (const auto& part : all) {
      CHECK_MESSAGE(ids.insert(part.at("id")).second, url << " " << part.at("id"));
      CHECK(part.at("path").get<std::string>().starts_with("Extension"));
    }
  }
}

TEST_CASE("every row of every table of a layout's words is told, by its way") {
  for (const auto& layout : layouts) {
    CAPTURE(layout);
    const auto words = words_of(layout);
    std::set<std::string> sources;
    std::size_t rows = 0, told = 0;
    for (const auto& entry : words.bundle.at("entry")) {
      const auto& map = entry.at("resource");
      CHECK(map.at("resourceType") == "ConceptMap");
      const std::string title = map.at("title");
      const auto stem = title.substr(title.find(": ") + 2);
      const auto folder = layout.substr(layout.find(':') + 1);
      const auto text = tests::file_text("mappings/sites/" + folder + "/" + stem + ".csv");
      auto table = mapping::SiteWords::load(text, stem + ".csv");
      REQUIRE(table);
      const auto said = rows_of(map);
      for (const auto& row : table->rows()) {
        ++rows;
        const auto way = row.read && row.written ? " equivalent" : row.read ? " relatedto" : " narrower";
        auto wanted = row.cell + " > ";
        if (row.means.find("://") != std::string::npos)
          wanted += " unmatched";
        else
          wanted += (row.none ? "none" : row.means + row.absent) + way;
        CHECK_MESSAGE(std::find(said.begin(), said.end(), wanted) != said.end(), stem << ": " << wanted);
      }
      for (const auto& group : map.at("group")) {
        sources.insert(group.at("source"));
        CHECK(group.at("source").get<std::string>().starts_with("urn:uuid:"));
        for (const auto& one : group.at("element")) {
          for (const auto& target : one.at("target")) {
            ++told;
            if (target.at("equivalence") != "equivalent") CHECK(target.contains("comment"));
          }
        }
      }
    }
    CHECK(told == rows);
    CHECK(sources.size() == words.bundle.at("entry").size());
  }
}

TEST_CASE("a table of words: codes, no value, and a row that is only read") {
  const auto elbtal = words_of("site:elbtal").bundle;
  const auto reason = map_of(elbtal, "words-elbtal-anlass");
  CHECK(reason.at("name") == "WordsElbtalAnlass");
  CHECK(reason.at("url") == "http://charpie.example/fhir/ConceptMap/words-elbtal-anlass");
  CHECK(reason.at("description").get<std::string>().find("performed.kind") != std::string::npos);
  CHECK(reason.at("group").at(0).at("target") == "http://charpie.example/fhir/CodeSystem/visit-kind");
  CHECK(rows_of(reason) == std::vector<std::string>{"Verbandwechsel > dressing-change equivalent",
                                                    "Begutachtung > assessment equivalent",
                                                    "Verbandwechsel und Begutachtung > both equivalent",
                                                    "VW > dressing-change relatedto"});
  const auto none = map_of(elbtal, "words-elbtal-keine");
  CHECK(none.at("group").at(0).at("target") == "http://charpie.example/fhir/CodeSystem/list-none");
  CHECK(none.at("group").at(1).at("target") == "http://charpie.example/fhir/CodeSystem/absent-reason");
  const auto unit = map_of(words_of("site:lakeside").bundle, "words-lakeside-unit");
  CHECK(unit.at("group").at(0).at("target") == "http://unitsofmeasure.org");
}
