// What the tests of strict reading share: the tables of a version, and what is found in a text.
#pragma once
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fhir/strict.hpp"
#include "syntax/json.hpp"

namespace charpie::tests {

/// One version's tables with their reader; loaded once, used by all tests.
struct Strict {
  explicit Strict(fhir::Version version)
      : elements(fhir::Elements::load(tables(), version, names)), reader(*elements) {}
  static const Tables& tables() {
    static const Tables all(embedded_tables());
    return all;
  }
  static const Strict& of(fhir::Version version) {
    static const Strict r4(fhir::Version::r4);
    static const Strict r5(fhir::Version::r5);
    return version == fhir::Version::r4 ? r4 : r5;
  }

  /// The findings of a resource in `bytes`, that a missing narrative is bad practice left out unless asked
  /// for.
  std::vector<record::Finding> find(std::string_view bytes, const syntax::Node& resource,
                                    bool with_dom_6 = false) const {
    record::Findings findings;
    findings.begin("test", "", bytes, 1);
    reader.read(resource, findings);
    std::vector<record::Finding> found;
    for (auto& one : findings.take()) {
      if (with_dom_6 || !one.message.starts_with("dom-6:")) found.push_back(std::move(one));
    }
    return found;
  }
  /// The same for a text, as "slug path" each.
  std::vector<std::string> find(std::string_view bytes) const {
    Arena arena;
    const auto root = syntax::read_json(bytes, arena, names);
    if (!root) return {"json.syntax"};
    std::vector<std::string> found;
    for (const auto& one : find(bytes, **root))
      found.push_back(std::string(record::finding_kind(one.id).slug) + " " + one.path);
    return found;
  }

  syntax::Names names;
  Result<fhir::Elements> elements;
  fhir::StrictReader reader;
};

}  // namespace charpie::tests
