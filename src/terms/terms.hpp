// The code tables: local words of the trade and the standard codes that travel beside them (mappings/codes/*.csv).
#pragma once
#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "record/record.hpp"

namespace charpie::terms {

/// One local word of one domain.
struct Concept {
  std::string word;        // what a record says: "serous"
  std::string display;     // our own words for a person
  std::string system;      // standard code system URI; empty when no verified standard code exists
  std::string code;        // emitted beside the local word; empty when there is none (or direction is `in`)
  std::string standard;    // the standard's own display for that code
  std::uint32_t index = 0; // place in its domain
};

/// All words of one domain, in file order.
class Domain {
 public:
  std::string name;    // "exudate-type"
  std::string system;  // URI of our own CodeSystem for it
  std::vector<Concept> concepts;
  /// The concept of a word, or nullptr.
  const Concept* find(std::string_view word) const;
  /// The concept that a standard code means: emitted, accepted on input only, or retired; nullptr when none does.
  /// A code that two words share gives the first of them in file order.
  const Concept* meaning(std::string_view system, std::string_view code) const;
  /// The concept that a coded value means, by word or by standard code; nullptr for words only and unknown codes.
  const Concept* meaning(const record::Code& code) const;

 private:
  friend class Terms;
  std::unordered_map<std::string_view, std::uint32_t> by_word_;
  std::unordered_map<std::string, std::uint32_t> by_code_;  // "system|code"
};

/// A standard question or constant code that templates name: {loinc 72287-6}.
struct StandardCode {
  std::string system, code, display;
};

class Terms {
 public:
  /// Loads codes/*.csv. Refuses (Error::mapping_broken with file, line and mend): a wrong check digit (LOINC Mod-10,
  /// SNOMED CT Verhoeff), a word twice, an unknown direction or status, an emitted code whose status forbids it.
  static Result<Terms> load(const Tables& tables);
  /// The domain of that name, or nullptr.
  const Domain* domain(std::string_view name) const;
  std::span<const Domain> domains() const { return domains_; }
  /// A code listed in codes/standard.csv (questions, procedures, categories), or nullptr. `system` is its short name
  /// there: loinc, sct, …
  const StandardCode* standard(std::string_view system, std::string_view code) const;
  /// Base of our own canonical URIs: "http://charpie.example/fhir".
  const std::string& canonical() const { return canonical_; }

 private:
  std::vector<Domain> domains_;
  std::map<std::string, StandardCode, std::less<>> standards_;
  std::string canonical_;
};

/// LOINC's check digit (Mod 10) of "72287-6".
bool loinc_check_digit(std::string_view code);
/// SNOMED CT's check digit (Verhoeff) of "182531007".
bool sct_check_digit(std::string_view code);

}  // namespace charpie::terms
