// The extensions of our own that a mapping set of FHIR writes, as its compiled templates have them: where
// each stands, what it holds, which fields fill it. Nothing is listed by hand, so nothing that is written
// stays undefined.
#pragma once
#include <cstddef>
#include <list>
#include <set>
#include <string>

#include "fhir/elements.hpp"
#include "mapping/mapping.hpp"

namespace charpie::flow {

/// An extension, or a part of one.
struct Extension {
  std::string url;                         // below our canonical base; of a part a word: "lot"
  std::set<std::string> contexts;          // where it stands: "Procedure", "Quantity", "Procedure.usedCode"
  std::list<Extension> parts;              // extensions inside, in the order of the templates
  std::set<std::string> types;             // of its value; none where it has parts
  std::set<std::string> codes;             // texts that are its value as they stand
  std::set<record::FieldId> fields;        // that its value comes from, in the dictionary's order
  std::set<mapping::Facet> facets;         // which sides of them; `self` for the whole
  std::set<std::string> facts;             // of the run, that its value tells ("record")
  std::set<const terms::Domain*> domains;  // whose words its value may be
  bool repeats = false;                    // several may stand in one place
  bool required = false;                   // of a part: wherever the extension is, it is
  std::size_t places = 0;                  // how many places of the templates write it
  std::size_t sure = 0;  // … in how many of them it is there whenever what surrounds it is
};

/// All of them, sorted by url. `elements` must have been loaded with the mapping's names. What is only read
/// (shapes of others) is left out.
std::list<Extension> own_extensions(const mapping::Mapping& mapping, const fhir::Elements& elements);

}  // namespace charpie::flow
