// The code tables: local words of the trade and the standard codes that travel beside them
// (mappings/codes/*.csv).
#pragma once
#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/hash.hpp"
#include "base/result.hpp"
#include "base/tables.hpp"
#include "record/record.hpp"

namespace charpie::terms {

/// One local word of one domain.
struct Concept {
  std::string word;         // what a record says: "serous"
  std::string display;      // our own words for a person
  std::string system;       // standard code system URI; empty when no verified standard code exists
  std::string code;         // emitted beside the local word; empty when there is none (or direction is `in`)
  std::string standard;     // the standard's own display for that code
  std::uint32_t index = 0;  // place in its domain
  std::string source;       // where the word was read
};

/// How a standard code and a local word stand to each other.
enum class Direction : std::uint8_t {
  both,  // sent beside the word, and read as it
  out,   // sent beside the word; broader than the word, so not read as it
  in     // read as the word, never sent: retired, disputed, or of a national extension
};

/// The direction as the tables write it.
std::string_view direction_name(Direction direction);

/// One row of a domain's table that names a standard code.
struct Link {
  std::uint32_t index = 0;  // of the concept
  Direction direction = Direction::both;
  std::string system, code, standard;  // URI, code, the standard's own display
  std::string status, source;          // how far the row is verified, and where it was read
};

/// All words of one domain, in file order. The indexes view into the texts: it can be moved, not copied.
class Domain {
 public:
  std::string name;    // "exudate-type"
  std::string system;  // URI of our own CodeSystem for it
  std::vector<Concept> concepts;
  std::vector<Link> links;  // in file order
  Domain() = default;
  Domain(Domain&&) = default;
  Domain& operator=(Domain&&) = default;
  /// The concept of a word, or nullptr.
  const Concept* find(std::string_view word) const;
  /// The concept that a standard code means: emitted, accepted on input only, or retired; nullptr when none
  /// does. Our own system's URI works too. A code of direction `out` is broader than its word and means none.
  const Concept* meaning(std::string_view system, std::string_view code) const;
  /// The concept that a coded value means, by word or by standard code; nullptr for words only and unknown
  /// codes.
  const Concept* meaning(const record::Code& code) const;

 private:
  friend class TermsLoader;
  std::unordered_map<std::string_view, std::uint32_t, HashOf> by_word_;  // word -> concept
  std::unordered_multimap<std::string_view, std::uint32_t, HashOf>
      by_code_;  // code -> link, of those that are read
};

/// One row of codes/systems.csv.
struct CodeSystem {
  std::string short_name, uri, name, version, note;
  std::string notice;  // what must travel with a copy of its codes, or empty
};

/// A standard question or constant code that templates name: {loinc 72287-6}.
struct StandardCode {
  std::string system, code, display;  // `system` is the URI
  std::string use;                    // question, panel, procedure, category, value, input, …
  std::string status, source;
};

class Terms {
 public:
  /// Loads codes/*.csv. Refuses (Error::mapping_broken with file, line and mend): a wrong check digit (LOINC
  /// Mod-10, SNOMED CT Verhoeff), a word twice, an unknown direction or status, an emitted code whose status
  /// forbids it, a second emitted code of one word, one code read as two words, a domain of the dictionary
  /// without a table.
  static Result<Terms> load(const Tables& tables);
  /// The domain of that name, or nullptr.
  const Domain* domain(std::string_view name) const;
  std::span<const Domain> domains() const { return domains_; }
  /// A code listed in codes/standard.csv (questions, procedures, categories), or nullptr. `system` is its
  /// short name there: loinc, sct, …
  const StandardCode* standard(std::string_view system, std::string_view code) const;
  /// All of them, sorted by "short system|code".
  const std::map<std::string, StandardCode, std::less<>>& standards() const { return standards_; }
  /// The rows of codes/systems.csv, and the one of that short name, or nullptr.
  std::span<const CodeSystem> systems() const { return systems_; }
  const CodeSystem* system(std::string_view short_name) const;
  /// Base of our own canonical URIs: "http://charpie.example/fhir".
  const std::string& canonical() const { return canonical_; }

 private:
  friend class TermsLoader;
  std::vector<Domain> domains_;
  std::map<std::string, StandardCode, std::less<>> standards_;
  std::vector<CodeSystem> systems_;
  std::string canonical_;
};

/// LOINC's check digit (Mod 10) of "72287-6", and of an answer code "LA33-6" by a rule fitted to known answer
/// codes.
bool loinc_check_digit(std::string_view code);
/// SNOMED CT's check digit (Verhoeff) of "182531007".
bool sct_check_digit(std::string_view code);

}  // namespace charpie::terms
