// The record's shape for other people's tools and for readers: a JSON Schema and a page of Markdown, both
// made from the dictionary.
#pragma once
#include <functional>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace charpie::record {

/// The words of a domain of codes, in file order; empty when they are not known.
using DomainWords = std::function<std::vector<std::string>(std::string_view domain)>;

/// The JSON Schema (draft 2020-12) of one record. With `words` the local words are listed, else any word
/// passes. Looser than the reader where JSON Schema cannot say it: days of a month, the token of a whole
/// number (1.0 passes as 1), units.
nlohmann::ordered_json record_schema(const DomainWords& words = {});

/// The reference of the fields: a Markdown table, one row a field. Ends with a line
/// end; holds no heading of its own.
std::string dictionary_page();

/// The reference of the findings: a Markdown table, one row a finding.
std::string findings_page();

}  // namespace charpie::record
