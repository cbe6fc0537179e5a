#include "terms/publish.hpp"

#include <algorithm>
#include <array>

#include "terms/resource.hpp"

namespace charpie::terms {

namespace {

using Json = nlohmann::ordered_json;

// Builds the resources of one set of tables.
class Publisher {
 public:
  explicit Publisher(const Terms& terms) : terms_(terms) {}

  Json bundle(std::string_view only) const {
    std::vector<Json> resources;
    for (const auto& domain : terms_.domains()) {
      if (!only.empty() && domain.name != only) continue;
      for (auto& resource : {code_system(domain), value_set(domain), sent_map(domain), read_map(domain)}) {
        if (!resource.is_null()) resources.push_back(resource);
      }
    }
    if (only.empty()) resources.push_back(site_codes());
    return collection(std::move(resources));
  }

 private:
  // Codes that a site gives to answers of its own findings (extra): nobody can list them.
  Json site_codes() const {
    Json resource = head("CodeSystem", "extra", "Extra", "site's own answers",
                         "Words that a site uses as answers of its own findings.");
    resource["caseSensitive"] = true;
    resource["content"] = "not-present";
    return resource;
  }

  Json head(std::string_view type, const std::string& id, std::string name, std::string title,
            std::string description) const {
    return begin_resource(terms_, {type, id, std::move(name), std::move(title), std::move(description)});
  }

  Json code_system(const Domain& domain) const {
    Json resource = head("CodeSystem", domain.name, program_name(domain.name, ""), spaced(domain.name),
                         "Words of a wound visit record for the domain " + domain.name + ".");
    resource["caseSensitive"] = true;
    resource["valueSet"] = canonical_url(terms_, "ValueSet", domain.name);
    resource["content"] = "complete";
    resource["count"] = domain.concepts.size();
    Json concepts = Json::array();
    for (const auto& entry : domain.concepts)
      concepts.push_back({{"code", entry.word}, {"display", entry.display}});
    resource["concept"] = std::move(concepts);
    return resource;
  }

  Json value_set(const Domain& domain) const {
    Json resource = head("ValueSet", domain.name, program_name(domain.name, "Words"), spaced(domain.name),
                         "All words of the domain " + domain.name + ".");
    resource["compose"] = {{"include", Json::array({{{"system", domain.system}}})}};
    return resource;
  }

  // Our words to the codes that are sent beside them.
  Json sent_map(const Domain& domain) const {
    Json groups = Json::array();
    std::vector<std::string_view> targets;
    for (const auto& link : domain.links) {
      if (link.direction == Direction::in) continue;
      const auto& entry = domain.concepts[link.index];
      Json target = {{"code", link.code}, {"display", link.standard}};
      target["equivalence"] = link.direction == Direction::both ? "equivalent" : "wider";
      if (link.direction == Direction::out)
        target["comment"] = "The standard concept is broader than the word.";
      group_of(groups, targets, link.system, domain.system, link.system)["element"].push_back(
          {{"code", entry.word}, {"display", entry.display}, {"target", Json::array({target})}});
    }
    if (groups.empty()) return {};
    Json resource = head("ConceptMap", domain.name + "-sent", program_name(domain.name, "Sent"),
                         spaced(domain.name) + ": codes sent",
                         "Standard codes that are sent beside the words of " + domain.name +
                             ". Words that are missing here have no verified standard code.");
    add_notices(resource, terms_, targets);
    resource["sourceCanonical"] = canonical_url(terms_, "ValueSet", domain.name);
    resource["group"] = std::move(groups);
    return resource;
  }

  // Standard codes to the words that they are read as.
  Json read_map(const Domain& domain) const {
    Json groups = Json::array();
    std::vector<std::string_view> sources;
    for (const auto& link : domain.links) {
      if (link.direction == Direction::out) continue;
      const auto& entry = domain.concepts[link.index];
      Json target = {{"code", entry.word}, {"display", entry.display}};
      target["equivalence"] = link.direction == Direction::both ? "equivalent" : "relatedto";
      if (link.direction == Direction::in)
        target["comment"] = "Read, never sent. Status of the code: " + link.status + ".";
      group_of(groups, sources, link.system, link.system, domain.system)["element"].push_back(
          {{"code", link.code}, {"display", link.standard}, {"target", Json::array({target})}});
    }
    if (groups.empty()) return {};
    Json resource = head("ConceptMap", domain.name + "-read", program_name(domain.name, "Read"),
                         spaced(domain.name) + ": codes read",
                         "Standard codes that are read as words of " + domain.name + ".");
    add_notices(resource, terms_, sources);
    resource["targetCanonical"] = canonical_url(terms_, "ValueSet", domain.name);
    resource["group"] = std::move(groups);
    return resource;
  }

  // The group of that standard system, made when it is first met; `known` lists the systems in group order.
  static Json& group_of(Json& groups, std::vector<std::string_view>& known, std::string_view standard,
                        std::string_view source, std::string_view target) {
    const auto at = std::find(known.begin(), known.end(), standard);
    if (at != known.end()) return groups[static_cast<std::size_t>(at - known.begin())];
    known.push_back(standard);
    groups.push_back({{"source", source}, {"target", target}, {"element", Json::array()}});
    return groups.back();
  }

  const Terms& terms_;
};

// RFC 4180: a cell with a comma, a quote or a line end is quoted, its quotes doubled.
void append_cell(std::string& line, std::string_view text) {
  if (text.find_first_of(",\"\r\n") == std::string_view::npos) {
    line += text;
    return;
  }
  line += '"';
  for (const char c : text) line.append(c == '"' ? 2 : 1, c);
  line += '"';
}

void append_row(std::string& out, const std::array<std::string_view, 9>& cells) {
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (i != 0) out += ',';
    append_cell(out, cells[i]);
  }
  out += '\n';
}

}  // namespace

nlohmann::ordered_json codes_as_fhir(const Terms& terms, std::string_view domain) {
  return Publisher(terms).bundle(domain);
}

std::string codes_as_csv(const Terms& terms, std::string_view only) {
  std::string out = "domain,word,display,system,code,standard,direction,status,source\n";
  for (const auto& domain : terms.domains()) {
    if (!only.empty() && domain.name != only) continue;
    for (const auto& entry : domain.concepts) {
      if (entry.code.empty()) {
        append_row(out, {domain.name, entry.word, entry.display, "", "", "", "both", "own", entry.source});
      }
      for (const auto& link : domain.links) {
        if (link.index != entry.index) continue;
        append_row(out, {domain.name, entry.word, entry.display, link.system, link.code, link.standard,
                         direction_name(link.direction), link.status, link.source});
      }
    }
  }
  return out;
}

}  // namespace charpie::terms
