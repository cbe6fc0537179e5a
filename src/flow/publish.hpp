// What we write beside HL7's own and what a site's words mean, for terminology servers and publishers of
// guides: FHIR R4 4.0.1 resources in a Bundle (type collection), headed as those of the code tables are
// (terms/resource.hpp).
#pragma once
#include <nlohmann/json.hpp>
#include <string>

#include "fhir/elements.hpp"
#include "mapping/mapping.hpp"

namespace charpie::flow {

/// A StructureDefinition for each extension below our canonical base that the mapping writes: where it may
/// stand, the types of its value or its parts, how often. A differential only; any tool makes the snapshot.
/// `elements` must have been loaded with the mapping's names.
nlohmann::ordered_json extensions_as_fhir(const mapping::Mapping& mapping, const fhir::Elements& elements);

/// A ConceptMap for each table of words that the layout uses, from the site's words to ours: `equivalent` for
/// rows that serve both ways, `relatedto` for those that are only read, `narrower` for those that are only
/// written, as with our own codes. What means no code of ours (a flag, a name, a system) is `unmatched`, and
/// the comment says what it means. A site's words have no code system: the source is a URN of the table, by
/// its name and the layout's. `name` is the layout's, as people give it: site:elbtal, site:./FOLDER, c-cda.
nlohmann::ordered_json words_as_fhir(const mapping::Mapping& layout, const std::string& name);

}  // namespace charpie::flow
