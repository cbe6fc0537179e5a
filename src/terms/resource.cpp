#include "terms/resource.hpp"

#include <algorithm>

namespace charpie::terms {

namespace {

using Json = nlohmann::ordered_json;

constexpr std::string_view caution =
    "Not a medical device. Local policy and licensed clinicians decide; check codes against a current "
    "release before "
    "production use.";

// Of ASCII only, whatever the locale says.
bool is_small(char c) {
  return c >= 'a' && c <= 'z';
}
bool is_word(char c) {
  return is_small(c) || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

}  // namespace

std::string program_name(std::string_view slug, std::string_view suffix) {
  std::string name;
  bool upper = true;
  for (const char c : slug) {
    if (!is_word(c)) {
      upper = true;
      continue;
    }
    name += upper && is_small(c) ? static_cast<char>(c - 'a' + 'A') : c;
    upper = false;
  }
  return name.append(suffix);
}

std::string spaced(std::string_view slug) {
  std::string words(slug);
  std::replace(words.begin(), words.end(), '-', ' ');
  return words;
}

std::string canonical_url(const Terms& terms, std::string_view type, std::string_view id) {
  return terms.canonical() + "/" + std::string(type) + "/" + std::string(id);
}

Json begin_resource(const Terms& terms, Heading heading) {
  Json resource = {{"resourceType", heading.type},
                   {"id", heading.id},
                   {"url", canonical_url(terms, heading.type, heading.id)}};
  if (const auto* own = terms.system("canonical"); own != nullptr && !own->version.empty())
    resource["version"] = own->version;
  resource["name"] = std::move(heading.name);
  resource["title"] = std::move(heading.title);
  resource["status"] = "draft";
  resource["experimental"] = true;
  resource["publisher"] = "charpie";
  resource["description"] = std::move(heading.description.append(" ").append(caution));
  return resource;
}

void add_notices(Json& resource, const Terms& terms, const std::vector<std::string_view>& uris) {
  std::string notices;
  for (const auto& system : terms.systems()) {
    if (system.notice.empty() || std::find(uris.begin(), uris.end(), system.uri) == uris.end()) continue;
    if (!notices.empty()) notices += ' ';
    notices += system.notice;
  }
  if (!notices.empty()) resource["copyright"] = std::move(notices);
}

Json collection(std::vector<Json> resources) {
  Json entries = Json::array();
  for (auto& resource : resources)
    entries.push_back({{"fullUrl", resource.at("url")}, {"resource", std::move(resource)}});
  return {{"resourceType", "Bundle"}, {"type", "collection"}, {"entry", std::move(entries)}};
}

}  // namespace charpie::terms
