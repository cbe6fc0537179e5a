// Profiles claimed in what was written: meta.profile stands only where the instance fits (fhir/claims.hpp).
#pragma once
#include <string>
#include <string_view>

#include "base/arena.hpp"
#include "fhir/claims.hpp"
#include "record/finding.hpp"
#include "syntax/tree.hpp"

namespace charpie::flow {

/// One for each thread; the claims must outlive it.
class Claimer {
 public:
  explicit Claimer(const fhir::Claims& claims) : claims_(&claims) {}
  /// Puts meta.profile into a JSON text, a Bundle or one resource, that this program wrote. What a profile is
  /// for and what does not fit it is reported (form.claim-not-fit), and stays without the claim.
  void claim(std::string& json, record::Findings& findings);

 private:
  void claim_one(const syntax::Node& resource, const std::string& path, record::Findings& findings);
  const fhir::Claims* claims_;
  Arena arena_;
  struct Insertion {
    std::size_t at;
    std::string text;
  };
  std::vector<Insertion> insertions_;  // in the order of the text
};

}  // namespace charpie::flow
