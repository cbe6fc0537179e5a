// What a reviewer asks of any FHIR instance beyond its structure: codes whose digits cannot be, displays and
// unit texts that contradict their codes, references that lead nowhere, one business identifier on two
// instances.
#pragma once
#include <map>
#include <string>

#include "record/finding.hpp"
#include "syntax/tree.hpp"
#include "terms/terms.hpp"
#include "units/units.hpp"

namespace charpie::fhir {

/// Knows the tables only: any thread may use it.
class ContentChecks {
 public:
  /// Both must outlive this.
  ContentChecks(const terms::Terms& terms, const units::Units& units);

  /// Reports on one document, a Bundle or a single resource, in the group `fhir.` of the list of findings;
  /// none blocks. Displays are judged for codes of our own tables only; a reference only where it can lead
  /// nowhere else
  /// (`urn:uuid:` in a Bundle, FHIR R4 bundle.html#references). Paths and places are as StrictReader tells
  /// them.
  void read(const syntax::Node& document, record::Findings& findings) const;

 private:
  class Walk;
  const units::Units& units_;
  const terms::CodeSystem* loinc_;
  const terms::CodeSystem* sct_;
  const terms::CodeSystem* ucum_;
  std::multimap<std::string, std::string, std::less<>> displays_;  // "system|code" -> what it may be called
};

}  // namespace charpie::fhir
