// What profiles ask of an instance (mappings/fhir/claims.csv), so that meta.profile is written only where the
// instance fits: a claim is no switch.
#pragma once
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "syntax/tree.hpp"

namespace charpie::fhir {

/// One row: what a profile asks at one place.
struct Ask {
  enum class Kind : std::uint8_t {
    present,    // one of the places says something
    absent,     // none does
    at_most,    // a list is no longer than `text`
    is,         // whatever stands there is `text`
    alone,      // a CodeableConcept has this one coding and no other
    to_the_day  // a time that stands there is precise at least to the day
  };
  Kind kind = Kind::present;
  std::string text;
  std::vector<std::string> places;  // "component(39126-8).valueQuantity.code"
};

/// The profile of one kind of instance.
struct Profile {
  std::string type;          // resource type
  std::string system, code;  // of the instance's code; empty: any
  std::string url;
  std::vector<Ask> asks;
};

/// All profiles of one claim. Read-only after loading.
class Claims {
 public:
  /// `name` as in the table: "us-core-9". Error::usage for a claim that is not there, Error::mapping_broken
  /// with file and line for a table that is not understood.
  static Result<Claims> load(const Tables& tables, std::string_view name);

  /// Codes ("system|code") whose coding must stand alone: ours cannot stand beside them.
  std::set<std::string, std::less<>> alone() const;

  /// Why an instance does not fit.
  struct Misfit {
    std::string url;
    std::string place;  // below the resource
    std::string words;  // "at least to the day"
  };
  /// The URL of the profile that the instance fits; empty when no profile is for it, or when it does not fit:
  /// then `misfit` says why. The tree may have been read by any names.
  std::string_view fitting(const syntax::Node& resource, Misfit& misfit) const;

 private:
  std::vector<Profile> profiles_;
};

}  // namespace charpie::fhir
