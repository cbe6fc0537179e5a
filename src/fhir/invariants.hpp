// The rules that HL7 sets between elements (ElementDefinition.constraint), in C++ by their key. Facts of the
// rules: R4 4.0.1 and R5 5.0.0 StructureDefinitions; words and code are our own.
#pragma once
#include <cstdint>
#include <span>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "fhir/elements.hpp"
#include "syntax/tree.hpp"

namespace charpie::fhir {

/// The member names that rules ask for, by number; 0 in a version that has no such element.
struct RuleNames {
  struct Pair {
    std::uint32_t plain = 0, companion = 0;  // x and _x
  };
#define CHARPIE_FHIR_RULE_NAMES(X)                                                                           \
  X(actor)                                                                                                   \
  X(address)                                                                                                 \
  X(allDay) X(assessment) X(attester) X(availableEndTime) X(availableStartTime) X(bodySite) X(bodyStructure) \
      X(category) X(clinicalStatus) X(code) X(coding) X(comparator) X(component) X(condition) X(contained)   \
          X(contentType) X(count) X(countMax) X(data) X(dataAbsentReason) X(denominator) X(detail)           \
              X(display) X(duration) X(durationMax) X(durationUnit) X(end) X(entry) X(expression)            \
                  X(extension) X(fullUrl) X(high) X(highNumerator) X(id) X(identifier) X(interval) X(issue)  \
                      X(issues) X(lastUpdated) X(link) X(low) X(lowNumerator) X(meta) X(method) X(name)      \
                          X(numerator) X(offset) X(offsets) X(onBehalfOf) X(orderDetail) X(organization)     \
                              X(path) X(period) X(periodMax) X(periodUnit) X(reference) X(relation)          \
                                  X(request) X(resource) X(response) X(search) X(searchParam) X(security)    \
                                      X(severity) X(start) X(summary) X(system) X(telecom) X(text)           \
                                          X(timeOfDay) X(timestamp) X(total) X(type) X(unit) X(url) X(use)   \
                                              X(value) X(verificationStatus) X(versionId) X(when) X(who)     \
                                                  X(asNeeded) X(asNeededFor) X(actual) X(answer)             \
                                                      X(authoredOn) X(date) X(deleted) X(emptyReason)        \
                                                          X(focus) X(item) X(lastModified) X(linkId)         \
                                                              X(measure) X(member) X(mode) X(part)           \
                                                                  X(restriction) X(role) X(section)
#define X(name) Pair name;
  CHARPIE_FHIR_RULE_NAMES(X)
#undef X
  std::uint32_t resource_type = 0;
  explicit RuleNames(const syntax::Names& names);
};

/// The resources that the root contains: type by id.
using ContainedTypes = std::unordered_map<std::string_view, std::string_view>;

/// Where a rule is asked: one object (or the string of a narrative) and what surrounds it.
struct Place {
  const RuleNames& names;
  const syntax::Node& node;
  const Shape& shape;
  const syntax::Node& resource;  // the nearest resource
  const syntax::Node& root;      // the same, or the one that contains it
  const ContainedTypes& contained;
};

/// One rule.
struct Rule {
  enum Versions : std::uint8_t { r4 = 1, r5 = 2, both = 3 };
  std::string_view key;
  std::string_view path;  // type or element where it stands
  Versions versions;
  bool (*holds)(const Place& place);
  std::string_view words;  // what must be so
};

/// A rule of the tables that is not checked here.
struct UncheckedRule {
  std::string_view key, path, reason;
};

std::span<const Rule> rules();
std::span<const UncheckedRule> unchecked_rules();

/// A rule with the severity that the version gives it.
struct GradedRule {
  const Rule* rule;
  bool error;
};

/// The rules of a version, found by shape and element.
class Invariants {
 public:
  explicit Invariants(const Elements& elements);
  const RuleNames& names() const { return names_; }
  /// The rules of a type or backbone, those of its bases first.
  std::span<const GradedRule> of(const Shape& shape) const { return shapes_[shape.number]; }
  /// The rules that stand at an element and are none of its type's.
  std::span<const GradedRule> of(const Element& element) const { return elements_[element.number]; }

 private:
  RuleNames names_;
  std::vector<std::vector<GradedRule>> shapes_, elements_;
};

}  // namespace charpie::fhir
