// A template as a notation has it: its parts in the order of the output, each with the bytes that stand
// around what it says. The program of steps (program.hpp) is laid out from it.
#pragma once
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "fhir/elements.hpp"
#include "mapping/notation.hpp"
#include "mapping/part.hpp"
#include "mapping/program.hpp"

namespace charpie::mapping {

struct Outline {
  Step::Kind kind = Step::Kind::bytes;
  Part* part = nullptr;             // nullptr: the notation alone asks for it
  std::string_view name{}, open{};  // before what it says; comparing leaves the name out
  std::string_view close{};         // … behind it. Of bytes they are all there is
  Escape escape = Escape::none;     // of a hole
  // Of a template's members, which are copied from instance to instance: the numbers of their fragments; 0:
  // none.
  std::uint32_t shared = 0, shared_beside = 0;
  std::vector<Outline> inside{};

  /// Constants that always stand.
  bool is_constant() const { return kind == Step::Kind::bytes && (part == nullptr || part->when.empty()); }
};

/// The body of a template in JSON: members and items as the template has them, a comma behind each. List
/// items that are only read go to `read_only`. Texts live in the template or in `texts`.
Outline outline_in_json(Template& made_from, Arena& texts, std::vector<Outline>& read_only);

/// The same in XML: elements in the order of the tables, lists without a frame of their own, values as
/// attributes, a primitive and what stands beside it (_x) as one element. Nothing when the tables do not know
/// where a part belongs, or the template would say what XML cannot: then to_xml() (fhir/xml.hpp) of the JSON
/// tells why.
std::optional<Outline> outline_in_xml(Template& made_from, const fhir::Elements& elements, Arena& texts);

}  // namespace charpie::mapping
