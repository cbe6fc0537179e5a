// Trees and JSON texts written out: compact, or spread over lines for people.
#pragma once
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

/// Appends the tree as compact JSON: members in their order, numbers by their token, strings escaped as
/// little as RFC 8259 allows.
void append_json(const Node& node, std::string& out);

/// Appends a JSON text with line ends and two spaces a level. The text must be valid JSON (as append_json or
/// the mapping writes it); tokens are copied as they are, so reading both gives the same tree.
void append_pretty_json(std::string_view json, std::string& out);

}  // namespace charpie::syntax
