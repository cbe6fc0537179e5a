// The XHTML of a narrative: whether it keeps to what FHIR allows (narrative.html, invariants txt-1 and
// txt-2).
#pragma once
#include <string_view>

namespace charpie::fhir {

/// What is wrong with a div, in plain words; `fault` is empty when nothing is. Nothing of the text is
/// repeated.
struct NarrativeJudgement {
  std::string_view fault{};  // txt-1: not well-formed, or an element or attribute that is not allowed
  bool blank = true;         // txt-2: neither text nor an image; false where a fault ended the reading
};

/// Judges the content of Narrative.div: one div in the XHTML namespace, well-formed, with the formatting of
/// HTML 4.0 chapters 7 to 11 (without section 4 of chapter 9) and 15, links, images and style attributes; no
/// script, no form, no event attribute, no document type.
NarrativeJudgement judge_narrative(std::string_view div);

}  // namespace charpie::fhir
