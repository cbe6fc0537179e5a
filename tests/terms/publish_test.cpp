// What is published says what the tables say, in the shape that FHIR R4 wants.
#include "terms/publish.hpp"

#include <doctest/doctest.h>

#include <map>
#include <set>
#include <string>

#include "syntax/csv.hpp"

using namespace charpie;
using terms::Direction;
using terms::Terms;
using Json = nlohmann::ordered_json;

namespace {

const Terms& loaded() {
  static const Terms terms = [] {
    auto result = Terms::load(Tables(embedded_tables()));
    if (!result) FAIL(result.error().file << ":" << result.error().line << ": " << result.error().message);
    return std::move(*result);
  }();
  return terms;
}

const Json& bundle() {
  static const Json published = terms::codes_as_fhir(loaded());
  return published;
}

// The resource of that type and id, or null.
Json resource(const std::string& type, const std::string& id) {
  for (const auto& entry : bundle().at("entry")) {
    const Json& found = entry.at("resource");
    if (found.at("resourceType") == type && found.at("id") == id) return found;
  }
  return {};
}

// The elements of a resource that R4 4.0.1 defines and that we use (StructureDefinitions, from memory).
const std::map<std::string, std::set<std::string>> r4_elements = {
    {"CodeSystem",
     {"resourceType", "id", "url", "version", "name", "title", "status", "experimental", "publisher",
      "description", "copyright", "caseSensitive", "valueSet", "content", "count", "concept"}},
    {"ValueSet",
     {"resourceType", "id", "url", "version", "name", "title", "status", "experimental", "publisher",
      "description", "copyright", "compose"}},
    {"ConceptMap",
     {"resourceType", "id", "url", "version", "name", "title", "status", "experimental", "publisher",
      "description", "copyright", "sourceCanonical", "targetCanonical", "group"}},
};

}  // namespace

TEST_CASE("every resource has the elements of R4 and nothing else") {
  CHECK(bundle().at("resourceType") == "Bundle");
  CHECK(bundle().at("type") == "collection");
  std::set<std::string> urls;
  for (const auto& entry : bundle().at("entry")) {
    const Json& found = entry.at("resource");
    const std::string type = found.at("resourceType");
    CAPTURE(found.at("url").get<std::string>());
    REQUIRE(r4_elements.count(type) == 1);
    for (const auto& element : found.items()) {
      const std::string& name = element.key();
      const Json& value = element.value();
      CAPTURE(name);
      CHECK(r4_elements.at(type).count(name) == 1);
      CHECK_FALSE((value.is_null() || value == "" || (value.is_structured() && value.empty())));
    }
    CHECK(found.at("status") == "draft");
    CHECK(found.at("experimental") == true);
    CHECK(found.at("publisher") == "charpie");
    CHECK(found.at("description").get<std::string>().find("Not a medical device") != std::string::npos);
    CHECK(entry.at("fullUrl") == found.at("url"));
    CHECK(urls.insert(found.at("url")).second);
    // R4 id: letters, digits, hyphen and point, 64 at most. Names: csd-0, vsd-0, cmd-0.
    const std::string id = found.at("id");
    CHECK(id.size() <= 64);
    CHECK(id.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.") ==
          std::string::npos);
    const std::string name = found.at("name");
    CHECK((name.front() >= 'A' && name.front() <= 'Z'));
    CHECK(name.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_") ==
          std::string::npos);
  }
}

TEST_CASE("each domain's CodeSystem holds its words and its ValueSet all of them") {
  for (const auto& domain : loaded().domains()) {
    CAPTURE(domain.name);
    const Json system = resource("CodeSystem", domain.name);
    REQUIRE(system.is_object());
    CHECK(system.at("url") == domain.system);
    CHECK(system.at("content") == "complete");
    CHECK(system.at("count") == domain.concepts.size());
    REQUIRE(system.at("concept").size() == domain.concepts.size());
    for (const auto& entry : domain.concepts) {
      CHECK(system.at("concept").at(entry.index) == Json{{"code", entry.word}, {"display", entry.display}});
    }
    const Json set = resource("ValueSet", domain.name);
    REQUIRE(set.is_object());
    CHECK(system.at("valueSet") == set.at("url"));
    CHECK(set.at("compose").dump() == R"({"include":[{"system":")" + domain.system + R"("}]})");
  }
}

TEST_CASE("the maps say each link once, in its direction") {
  for (const auto& domain : loaded().domains()) {
    CAPTURE(domain.name);
    std::set<std::string> sent, read, wanted_sent, wanted_read;
    for (const auto& link : domain.links) {
      const auto& word = domain.concepts[link.index].word;
      const std::string pair = word + " " + link.system + " " + link.code + " ";
      if (link.direction != Direction::in) {
        wanted_sent.insert(pair + (link.direction == Direction::both ? "equivalent" : "wider"));
      }
      if (link.direction != Direction::out) {
        wanted_read.insert(pair + (link.direction == Direction::both ? "equivalent" : "relatedto"));
      }
    }
    const Json sent_map = resource("ConceptMap", domain.name + "-sent");
    CHECK(sent_map.is_null() == wanted_sent.empty());
    if (!sent_map.is_null()) {
      CHECK(sent_map.at("sourceCanonical") == resource("ValueSet", domain.name).at("url"));
      for (const auto& group : sent_map.at("group")) {
        CHECK(group.at("source") == domain.system);
        for (const auto& element : group.at("element")) {
          const Json& target = element.at("target").at(0);
          CHECK(sent.insert(element.at("code").get<std::string>() + " " +
                            group.at("target").get<std::string>() + " " +
                            target.at("code").get<std::string>() + " " +
                            target.at("equivalence").get<std::string>())
                    .second);
        }
      }
    }
    const Json read_map = resource("ConceptMap", domain.name + "-read");
    CHECK(read_map.is_null() == wanted_read.empty());
    if (!read_map.is_null()) {
      CHECK(read_map.at("targetCanonical") == resource("ValueSet", domain.name).at("url"));
      for (const auto& group : read_map.at("group")) {
        CHECK(group.at("target") == domain.system);
        for (const auto& element : group.at("element")) {
          const Json& target = element.at("target").at(0);
          CHECK(read.insert(target.at("code").get<std::string>() + " " +
                            group.at("source").get<std::string>() + " " +
                            element.at("code").get<std::string>() + " " +
                            target.at("equivalence").get<std::string>())
                    .second);
        }
      }
    }
    CHECK(sent == wanted_sent);
    CHECK(read == wanted_read);
  }
}

TEST_CASE("licensed codes travel with their notice") {
  std::size_t seen = 0;
  for (const auto& entry : bundle().at("entry")) {
    const Json& found = entry.at("resource");
    if (found.at("resourceType") != "ConceptMap") continue;
    const bool has_sct = found.dump().find("\"http://snomed.info/sct\"") != std::string::npos;
    const std::string notice = found.value("copyright", "");
    CAPTURE(found.at("id").get<std::string>());
    CHECK((notice.find("SNOMED International") != std::string::npos) == has_sct);
    seen += has_sct ? 1 : 0;
  }
  CHECK(seen > 20);
}

TEST_CASE("the same tables give the same bytes") {
  CHECK(terms::codes_as_fhir(loaded()).dump() == bundle().dump());
  CHECK(terms::codes_as_csv(loaded()) == terms::codes_as_csv(loaded()));
}

TEST_CASE("the CSV reads back to every word and every link") {
  const auto table = syntax::read_csv_table(terms::codes_as_csv(loaded()), "codes.csv");
  REQUIRE(static_cast<bool>(table));
  std::size_t words = 0;
  std::size_t links = 0;
  std::size_t own = 0;
  for (const auto& row : table->rows) {
    const auto* domain = loaded().domain(table->cell(row, "domain"));
    REQUIRE(domain != nullptr);
    const auto* entry = domain->find(table->cell(row, "word"));
    REQUIRE(entry != nullptr);
    CHECK(table->cell(row, "display") == entry->display);
    if (table->cell(row, "code").empty()) {
      CHECK(table->cell(row, "status") == "own");
      ++own;
      continue;
    }
    if (table->cell(row, "direction") == "out") {
      CHECK(domain->meaning(table->cell(row, "system"), table->cell(row, "code")) != entry);
    } else {
      CHECK(domain->meaning(table->cell(row, "system"), table->cell(row, "code")) == entry);
    }
    ++links;
  }
  std::size_t wanted_own = 0;
  std::size_t wanted_links = 0;
  for (const auto& domain : loaded().domains()) {
    words += domain.concepts.size();
    wanted_links += domain.links.size();
    for (const auto& entry : domain.concepts) wanted_own += entry.code.empty() ? 1 : 0;
  }
  CHECK(links == wanted_links);
  CHECK(own == wanted_own);
  CHECK(table->rows.size() == wanted_links + wanted_own);
  CHECK(words > 500);
}

TEST_CASE("a display with comma, quote and line end comes back from the CSV as it was") {
  const std::string odd = "foul, \"very\"\nfoul";
  const std::string text =
      "word,display,system,code,standard,direction,status,source\nfoul,\"foul, "
      "\"\"very\"\"\nfoul\",,,,both,own,x\n";
  std::vector<TableFile> files;
  for (const auto& file : embedded_tables()) {
    files.push_back(file.path == "codes/odor.csv" ? TableFile{file.path, text} : file);
  }
  const auto changed = Terms::load(Tables(files));
  REQUIRE(static_cast<bool>(changed));
  const auto table = syntax::read_csv_table(terms::codes_as_csv(*changed), "codes.csv");
  REQUIRE(static_cast<bool>(table));
  std::size_t seen = 0;
  for (const auto& row : table->rows) {
    if (table->cell(row, "domain") != "odor") continue;
    CHECK(table->cell(row, "display") == odd);
    ++seen;
  }
  CHECK(seen == 1);
}

TEST_CASE("one domain can be published alone") {
  const Json odor = terms::codes_as_fhir(loaded(), "odor");
  CHECK(odor.at("entry").size() == 4);
  for (const auto& entry : odor.at("entry")) {
    const std::string id = entry.at("resource").at("id");
    CHECK((id == "odor" || id == "odor-sent" || id == "odor-read"));
  }
  const auto table = syntax::read_csv_table(terms::codes_as_csv(loaded(), "odor"), "codes.csv");
  REQUIRE(static_cast<bool>(table));
  CHECK_FALSE(table->rows.empty());
  for (const auto& row : table->rows) CHECK(table->cell(row, "domain") == "odor");
}
