// Strict reading of FHIR JSON that lies in a tree: whatever HL7's definitions of the version refuse is a
// finding with its place. Nothing is changed or taken out of the tree.
#pragma once
#include "fhir/elements.hpp"
#include "fhir/invariants.hpp"
#include "record/finding.hpp"
#include "syntax/tree.hpp"

namespace charpie::fhir {

/// Reads strictly: unknown elements, JSON types, cardinality, choice types, the companions `_x`, nulls, empty
/// values, forms of primitives, required bindings, references, and the invariants of HL7. Contained resources
/// and the entries of Bundles are read too. Knows the tables only: any thread may use it.
class StrictReader {
 public:
  /// Of one resource (or Bundle) so many errors are told, and as many others; then one that says that there
  /// are more.
  static constexpr std::size_t most_findings = 1000;

  /// `elements` must outlive this.
  explicit StrictReader(const Elements& elements) : elements_(elements), invariants_(elements) {}

  /// Reports what is wrong with a resource, in the group `fhir.` of the list of findings. The tree must have
  /// been read with elements.names(). Paths are as in FHIRPath, with the members' names of JSON:
  /// `Bundle.entry[2].resource.valueQuantity.value`; places are those of `findings.begin()`.
  void read(const syntax::Node& resource, record::Findings& findings) const;

 private:
  const Elements& elements_;
  Invariants invariants_;
};

}  // namespace charpie::fhir
