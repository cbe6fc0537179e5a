#include "flow/publish.hpp"

#include <algorithm>
#include <string_view>
#include <vector>

#include "base/uuid.hpp"
#include "flow/extensions.hpp"
#include "terms/resource.hpp"

namespace charpie::flow {

namespace {

using Json = nlohmann::ordered_json;
using mapping::Facet;

void join(std::string& text, std::string_view more, std::string_view between = "; ") {
  if (!text.empty()) text += between;
  text += more;
}

template <class List>
std::string joined(const List& list) {
  std::string text;
  for (const auto& one : list) join(text, one, ", ");
  return text;
}

// "wound.site: where on the body", as the dictionary says it.
std::string meaning(record::FieldId id) {
  const auto& field = record::field(id);
  return std::string(field.path).append(": ").append(field.meaning);
}

// --- extensions

// Sides of a value that stand in an extension by themselves.
struct FacetWords {
  Facet facet;
  std::string_view words;
};
constexpr FacetWords facet_words[] = {
    {Facet::precision, "'minute' where the seconds of the time were not charted"},
    {Facet::comparator, "how the true value stands to the number: <, <=, >= or >"},
    {Facet::estimated, "whether the value was estimated"},
    {Facet::fixed_rounded, "true where the number was rounded when its unit was changed"},
};

// Facts of the run (mappings/README.md, "Holes").
struct FactWords {
  std::string_view fact, words;
};
constexpr FactWords fact_words[] = {
    {"stamp", "when the run was"},
    {"version", "the version of the program"},
    {"mapping", "the digest of all tables"},
    {"record", "the SHA-256 of the record's canonical text"},
};

std::string describe(const Extension& extension) {
  std::string text;
  if (!extension.codes.empty())
    join(text, (extension.codes.size() == 1 ? "always " : "one of: ") + joined(extension.codes));
  for (const auto& [fact, words] : fact_words) {
    if (extension.facts.contains(std::string(fact))) join(text, words);
  }
  for (const auto& [facet, words] : facet_words) {
    if (extension.facets.contains(facet)) join(text, words);
  }
  if (extension.facets.contains(Facet::self) || extension.fields.size() == 1) {
    for (const auto field : extension.fields) join(text, meaning(field));
  }
  // Of a whole, the groups that its parts belong to; the visit itself says nothing.
  std::set<record::FieldId> groups;
  for (const auto& part : extension.parts) {
    for (const auto field : part.fields) groups.insert(record::field(field).parent);
  }
  groups.erase(record::FieldId::visit);
  for (const auto group : groups) join(text, meaning(group));
  return text;
}

std::string_view last_segment(std::string_view path) {
  return path.substr(path.find_last_of('/') + 1);
}

class Definition {
 public:
  explicit Definition(const terms::Terms& terms) : terms_(terms) {}

  Json make(const Extension& extension) {
    const std::string slug(last_segment(extension.url));
    const auto says = describe(extension);
    auto resource = terms::begin_resource(terms_, {"StructureDefinition", slug, terms::program_name(slug),
                                                   terms::spaced(slug), "What it holds: " + says + "."});
    resource["fhirVersion"] = "4.0.1";
    resource["kind"] = "complex-type";
    resource["abstract"] = false;
    Json contexts = Json::array();
    for (const auto& one : extension.contexts) contexts.push_back({{"type", "element"}, {"expression", one}});
    resource["context"] = std::move(contexts);
    resource["type"] = "Extension";
    resource["baseDefinition"] = "http://hl7.org/fhir/StructureDefinition/Extension";
    resource["derivation"] = "constraint";
    elements_ = Json::array();
    add("Extension", "Extension",
        {{"short", terms::spaced(slug)},
         {"definition", says},
         {"min", 0},
         {"max", extension.repeats ? "*" : "1"}});
    add_inside("Extension", "Extension", extension);
    resource["differential"] = {{"element", std::move(elements_)}};
    return resource;
  }

 private:
  void add(const std::string& id, const std::string& path, Json more) {
    Json element = {{"id", id}, {"path", path}};
    element.update(more);
    elements_.push_back(std::move(element));
  }

  // An extension has either parts or a value (R4, ext-1). Parts are told apart by their url, as the base has
  // it.
  void add_inside(const std::string& id, const std::string& path, const Extension& extension) {
    if (extension.parts.empty()) {
      add(id + ".extension", path + ".extension", {{"max", "0"}});
    } else {
      const auto least = std::count_if(extension.parts.begin(), extension.parts.end(),
                                       [](const auto& part) { return part.required; });
      add(id + ".extension", path + ".extension",
          {{"slicing",
            {{"discriminator", Json::array({{{"type", "value"}, {"path", "url"}}})},
             {"ordered", false},
             {"rules", "open"}}},
           {"min", least}});
    }
    for (const auto& part : extension.parts) {
      const auto slice = id + ".extension:" + part.url;
      add(slice, path + ".extension",
          {{"sliceName", part.url},
           {"short", terms::spaced(part.url)},
           {"definition", describe(part)},
           {"min", part.required ? 1 : 0},
           {"max", part.repeats ? "*" : "1"}});
      add_inside(slice, path + ".extension", part);
    }
    add(id + ".url", path + ".url", {{"fixedUri", extension.url}});
    if (extension.types.empty()) return add(id + ".value[x]", path + ".value[x]", {{"max", "0"}});
    Json types = Json::array();
    for (const auto& type : extension.types) types.push_back({{"code", type}});
    Json value = {{"min", extension.parts.empty() ? 1 : 0}, {"type", std::move(types)}};
    const bool is_constant = extension.codes.size() == 1 && extension.fields.empty();
    if (is_constant && extension.types.contains("code") && extension.types.size() == 1)
      value["fixedCode"] = *extension.codes.begin();
    // A word of ours where there is one; other codes and words alone may stand there too.
    if (extension.domains.size() == 1 && extension.types.contains("CodeableConcept"))
      value["binding"] = {
          {"strength", "preferred"},
          {"valueSet", terms::canonical_url(terms_, "ValueSet", (*extension.domains.begin())->name)}};
    add(id + ".value[x]", path + ".value[x]", std::move(value));
  }

  const terms::Terms& terms_;
  Json elements_;
};

// --- words of a site

// A place of the layout that is spelled by a table.
struct Use {
  record::FieldId field;
  Facet facet;
  const terms::Domain* domain;
};
struct Table {
  const mapping::SiteWords* words;
  std::vector<Use> uses;
};

void find_tables(const mapping::Part& part, std::vector<Table>& tables) {
  if (const auto* words = part.spelling.words; words != nullptr) {
    auto at = std::find_if(tables.begin(), tables.end(), [&](const auto& one) { return one.words == words; });
    if (at == tables.end()) at = tables.insert(tables.end(), {words, {}});
    at->uses.push_back({part.accessor.field, part.facet, part.domain});
  }
  for (const auto& below : part.parts) find_tables(*below, tables);
}

// R4, datatypes.html#code: no space at either end, none but single ones inside.
bool is_code(std::string_view text) {
  return !text.empty() && mapping::misfit(mapping::Render::token, text).empty();
}

// What a row's meaning is among codes; no system where it is none.
struct Target {
  std::string system, code, display;
  bool operator==(const Target&) const = default;
};

class WordMap {
 public:
  WordMap(const terms::Terms& terms, const mapping::Layout& layout, std::string_view name)
      : terms_(terms), layout_(layout), name_(name) {}

  Json make(const Table& table) {
    const auto& file = table.words->name();
    const auto stem = file.substr(0, file.find_last_of('.'));
    auto id = "words-" + name_ + "-" + stem;
    // R4, datatypes.html#id.
    std::replace_if(
        id.begin(), id.end(),
        [](char c) {
          return !((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
                   c == '.');
        },
        '-');
    id.resize(std::min(id.size(), std::size_t{64}));
    auto resource = terms::begin_resource(
        terms_, {"ConceptMap", id, terms::program_name(id), name_ + ": " + stem, describe(table)});
    source_ =
        "urn:uuid:" + uuid_text(uuid_v5(uuid_space_url, terms_.canonical() + "/sites/" + name_ + "/" + file));
    groups_ = Json::array();
    systems_.clear();
    for (const auto& row : table.words->rows()) {
      for (const auto& target : targets(row, table)) add(row, target);
    }
    terms::add_notices(resource, terms_, {systems_.begin(), systems_.end()});
    resource["group"] = std::move(groups_);
    return resource;
  }

 private:
  std::string describe(const Table& table) const {
    std::set<record::FieldId> fields;
    for (const auto& use : table.uses) fields.insert(use.field);
    std::string text;
    for (const auto field : fields) join(text, meaning(field));
    text = "Words of the layout " + name_ + " for " + text + ".";
    if (!layout_.writes) text += " The layout is only read.";
    if (!layout_.reads) text += " The layout is only written.";
    return text;
  }

  std::vector<Target> targets(const mapping::SiteWord& row, const Table& table) const {
    if (row.none) return {of(terms_.domain("list-none"), "none")};
    if (!row.absent.empty()) return {of(terms_.domain("absent-reason"), row.absent)};
    std::vector<Target> all;
    for (const auto& use : table.uses) {
      auto target = use.facet == Facet::unit ? Target{terms_.system("ucum")->uri, row.means, row.means}
                                             : of(use.domain, row.means);
      if (std::find(all.begin(), all.end(), target) == all.end()) all.push_back(std::move(target));
    }
    return all;
  }

  static Target of(const terms::Domain* domain, const std::string& word) {
    const auto* known = domain == nullptr ? nullptr : domain->find(word);
    return known == nullptr ? Target{{}, word, {}} : Target{domain->system, known->word, known->display};
  }

  void add(const mapping::SiteWord& row, const Target& target) {
    Json element = Json::object();
    if (is_code(row.cell)) element["code"] = row.cell;
    element["display"] = row.cell;
    Json to = Json::object();
    std::string comment;
    if (target.system.empty()) {
      to["equivalence"] = "unmatched";
      join(comment, "Means " + target.code + ", which is no code.", " ");
    } else {
      to["code"] = target.code;
      to["display"] = target.display;
      to["equivalence"] = row.read && row.written ? "equivalent" : row.read ? "relatedto" : "narrower";
    }
    if (!row.written) join(comment, "Read, never written.", " ");
    if (!row.read) join(comment, "Written, never read.", " ");
    if (!comment.empty()) to["comment"] = comment;
    auto& elements = group(target.system)["element"];
    // A cell may be read as one word and written for another: one element, two targets.
    const auto same = std::find_if(elements.begin(), elements.end(),
                                   [&](const Json& one) { return one.at("display") == row.cell; });
    if (same != elements.end()) {
      (*same)["target"].push_back(std::move(to));
      return;
    }
    element["target"] = Json::array({std::move(to)});
    elements.push_back(std::move(element));
  }

  // The group of that system, made when it is first met.
  Json& group(const std::string& system) {
    const auto at = std::find(systems_.begin(), systems_.end(), system);
    if (at != systems_.end()) return groups_[static_cast<std::size_t>(at - systems_.begin())];
    systems_.push_back(system);
    Json made = {{"source", source_}};
    if (!system.empty()) made["target"] = system;
    made["element"] = Json::array();
    groups_.push_back(std::move(made));
    return groups_.back();
  }

  const terms::Terms& terms_;
  const mapping::Layout& layout_;
  std::string name_, source_;
  Json groups_;
  std::vector<std::string> systems_;  // of the groups, in their order
};

}  // namespace

Json extensions_as_fhir(const mapping::Mapping& mapping, const fhir::Elements& elements) {
  Definition definition(mapping.terms());
  std::vector<Json> resources;
  for (const auto& extension : own_extensions(mapping, elements))
    resources.push_back(definition.make(extension));
  return terms::collection(std::move(resources));
}

Json words_as_fhir(const mapping::Mapping& layout, const std::string& name) {
  std::vector<Table> tables;
  for (const auto& one : layout.templates()) {
    if (one.body != nullptr) find_tables(*one.body, tables);
  }
  // "site:elbtal", "site:./elbtal/": elbtal.
  std::string_view short_name = name;
  while (short_name.ends_with('/')) short_name.remove_suffix(1);
  short_name.remove_prefix(short_name.find_last_of("/:") + 1);
  WordMap map(layout.terms(), layout.layout(), short_name);
  std::vector<Json> resources;
  for (const auto& table : tables) resources.push_back(map.make(table));
  return terms::collection(std::move(resources));
}

}  // namespace charpie::flow
