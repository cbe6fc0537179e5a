// What the text of a leaf may be, kind by kind, wherever the text comes from.
#pragma once
#include <span>
#include <string_view>

#include "record/dictionary.hpp"
#include "record/finding.hpp"

namespace charpie::record {

/// What is wrong with the text of a leaf of that kind, or FindingId::count when nothing is. For key, text,
/// time, clocktime, count, percent, decimal, flag and clock; the other kinds have more than a text.
FindingId leaf_fault(Kind kind, std::string_view text);

/// The data-absent-reason codes of FHIR R4 (CodeSystem data-absent-reason), the reasons of {"absent":
/// reason}.
std::span<const std::string_view> absent_reasons();

/// The largest count a record holds: FHIR R4's integer is 32-bit signed (datatypes, primitive types).
inline constexpr std::string_view largest_count = "2147483647";

}  // namespace charpie::record
