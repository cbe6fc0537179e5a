// The page of all findings, for people: mappings/rules/findings.md is this text (a test checks that it is not
// stale).
#pragma once
#include <string>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "rules/rules.hpp"

namespace charpie::rules {

/// Markdown: each finding with severity, whether it blocks, FHIR issue type, message, mend, why and source,
/// its limits and the case that shows it. Error::mapping_broken when rules/reasons.csv lacks a finding or
/// names one that is none.
Result<std::string> findings_page(const Tables& tables, const RuleBook& book);

/// Whether the rules report that finding: there is a case and a near miss of it in tests/cases/rules.
bool is_rule(record::FindingId id);

}  // namespace charpie::rules
