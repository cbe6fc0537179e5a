// The code tables for others: as FHIR R4 terminology resources and as one CSV. Nothing here reads a clock.
#pragma once
#include <nlohmann/json.hpp>
#include <string>

#include "terms/terms.hpp"

namespace charpie::terms {

/// A Bundle (type collection) with, for each domain, its CodeSystem, a ValueSet of all its words, and where
/// standard codes are known two ConceptMaps: `…-sent` from our words to the codes sent beside them
/// (equivalent, or wider where the code is broader), and `…-read` from standard codes to the words they are
/// read as (equivalent, or relatedto with a comment for codes that are read and never sent). FHIR R4 4.0.1;
/// status draft, experimental, no date.
nlohmann::ordered_json codes_as_fhir(const Terms& terms, std::string_view domain = {});

/// One row a word and standard code, a header row first, LF line ends (RFC 4180 but for that):
/// domain,word,display,system,code,standard,direction,status,source. `system` is a URI. UTF-8.
/// With a `domain`, only that one.
std::string codes_as_csv(const Terms& terms, std::string_view domain = {});

}  // namespace charpie::terms
