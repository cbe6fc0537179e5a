// What all resources have in common that we publish about ourselves: where they stand, whose they are, what
// may be done with them. FHIR R4 4.0.1; nothing here reads a clock.
#pragma once
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "terms/terms.hpp"

namespace charpie::terms {

/// "wound-bed-tissue" -> "WoundBedTissue", with a suffix: a name that a program can use (R4, rules csd-0,
/// cmd-0, sdf-0: a capital first, then letters, digits and `_`). Any other character ends a word.
std::string program_name(std::string_view slug, std::string_view suffix = {});
/// "wound-bed-tissue" -> "wound bed tissue".
std::string spaced(std::string_view slug);

/// BASE/TYPE/ID, below our own canonical base.
std::string canonical_url(const Terms& terms, std::string_view type, std::string_view id);

/// Who a resource is, for people and programs.
struct Heading {
  std::string_view type;
  std::string id, name, title, description;
};
/// What a resource begins with (R4: MetadataResource): status draft, experimental, no date.
nlohmann::ordered_json begin_resource(const Terms& terms, Heading heading);

/// Puts in the notices that must travel with codes of those systems (by URI).
void add_notices(nlohmann::ordered_json& resource, const Terms& terms,
                 const std::vector<std::string_view>& uris);

/// A Bundle (type collection) of them, each under its url.
nlohmann::ordered_json collection(std::vector<nlohmann::ordered_json> resources);

}  // namespace charpie::terms
