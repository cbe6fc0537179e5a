// What the text of a primitive value may be, type by type (R4 and R5, datatypes.html#primitive). Scanners by
// hand: one pass, no memory.
#pragma once
#include <string_view>

#include "fhir/elements.hpp"

namespace charpie::fhir {

/// The JSON type that a primitive is written in (json.html#primitive): integer64 is a string.
syntax::NodeKind json_kind(Primitive primitive);

/// In plain words why the text has not the form of the type; empty when it has. Numbers are the token,
/// strings the decoded text, not empty. Days must be days of the calendar. R5 limits decimals to 18 digits
/// before and 17 after the point, and lets a date carry an offset (datatypes.html#dateTime). The text of
/// xhtml is not judged here (narrative.hpp).
std::string_view form_fault(Primitive primitive, std::string_view text, Version version);

/// Whether the text is a logical id: 1 to 64 of A-Z a-z 0-9 - and .
bool is_id(std::string_view text);

}  // namespace charpie::fhir
