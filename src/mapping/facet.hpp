// Facets: the scalar sides of a value that a hole can hold. A code has a word, a system, a display…; a
// quantity a value, a unit…; and each, where it makes sense, can be read back into the value.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "mapping/fixed_units.hpp"
#include "record/record.hpp"
#include "terms/terms.hpp"

namespace charpie::mapping {

enum class Facet : std::uint8_t {
  self,       // the text of a leaf
  number,     // the token of a number
  precision,  // "minute" where FHIR's form of the time says more than was charted
  word,
  own_display,
  standard_system,
  standard_code,
  standard_display,
  text,
  foreign,
  system,
  code,
  display,
  value,
  unit,
  comparator,
  estimated,
  converted,
  fixed_value,
  fixed_unit,
  fixed_rounded,
  absent,
  absent_display,
  none,
  words  // plain words for a person
};
inline constexpr std::size_t facet_count = static_cast<std::size_t>(Facet::words) + 1;

/// The facet of that name in a template (".standard-code"), or false.
bool find_facet(std::string_view name, Facet& facet);
/// The form that a value must have for the facet to be there; of `words` each will do.
record::Form form_of(Facet facet);
/// Whether a value of that kind has the facet.
bool has_facet(record::Kind kind, Facet facet);

/// How a facet's text is put into a place.
enum class Render : std::uint8_t {
  plain,
  date_time,              // FHIR dateTime: seconds are filled in
  time_of_day,            // FHIR time: seconds are filled in
  year,                   // four digits
  token,                  // FHIR code: no space at either end, none doubled
  url,                    // no white space
  integer,                // FHIR integer: 32 bits
  unsigned_number,        // not below zero
  short_number,           // R5 decimal: 18 digits before the point, 17 behind
  unsigned_short_number,  // both
  query,                  // percent-encoded
  xhtml                   // escaped for XHTML
};
bool find_render(std::string_view name, Render& render);

/// Why a text cannot be rendered in a place, in plain words; empty when it can.
std::string_view misfit(Render render, std::string_view text);
/// Whether there are texts that cannot.
bool has_misfits(Render render);

/// What facets need to know beside the value itself. All of it outlives the work.
struct Knowledge {
  const terms::Terms* terms = nullptr;
  const FixedUnits* fixed_units = nullptr;
  const terms::Domain* absent_reasons = nullptr;
  bool fixed = true;  // --units fixed
};

/// The result of a conversion to the fixed unit; remembered for the value last asked about.
struct FixedQuantity {
  const record::Value* of = nullptr;
  bool converted = false;
  bool rounded = false;
  std::string value;
  std::string_view unit;
};

/// Gets and sets facets. One for each thread: it holds scratch space.
class Facets {
 public:
  explicit Facets(const Knowledge& knowledge) : knowledge_(&knowledge) {}
  /// The facet's text; empty when the value has none. Valid until the next call.
  std::string_view get(const record::Value* value, record::FieldId field, Facet facet,
                       const terms::Domain* domain);
  /// Puts a text into a value. False when the value already says something else there, or cannot hold it.
  bool set(record::Value& value, Facet facet, std::string_view text, Arena& arena,
           const terms::Domain* domain);
  /// The value in plain words; a group as "name: value; …". Appends.
  void words(const record::Value* value, const record::Field& field, std::string& out);
  void forget() {
    fixed_.of = nullptr;
    concept_value_ = nullptr;
  }

 private:
  const FixedQuantity& fixed(const record::Value& value, record::FieldId field);
  const terms::Domain* domain_of(const record::Field& field);
  const terms::Concept* concept_of(const record::Value& value, const terms::Domain* domain);
  const Knowledge* knowledge_;
  FixedQuantity fixed_;
  const record::Value* concept_value_ = nullptr;
  const terms::Domain* concept_domain_ = nullptr;
  const terms::Concept* concept_ = nullptr;
  std::vector<const terms::Domain*> domains_;  // by field, looked up once
  std::string scratch_;
};

/// Whether a value is a leaf of the coded kinds that says its word and nothing else.
bool is_plain_word(const record::Value& value);

}  // namespace charpie::mapping
