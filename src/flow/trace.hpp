// Where a record's values came from: the other way of flow/explanation.hpp.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "flow/find_record.hpp"

namespace charpie::flow {

/// One element of what was read, and what it became; or a value that stands in none.
struct TracedElement {
  enum class Kind : unsigned char { taken, implied, unread };  // implied: the layout says it by itself
  Kind kind = Kind::taken;
  std::string element{};  // its path in the document, lists from 0; empty when implied
  std::string text{};     // as it stands there
  std::string file{};     // where it stands
  std::uint32_t line = 0;
  std::string field{};        // spaces[1].extent; empty when unread
  std::string value{};        // what the record has there, as JSON
  mapping::Place rule{};      // the line of the mapping that took it, or implies it
  mapping::Place word_row{};  // of the site's word for it; no file: it is no word, or none that is known
};

/// Traces a record that `reader` found, whose trace() and keep_unread() were called before: what was taken,
/// in the order of the document, then what is implied, then the parts that nobody took. Copies that were only
/// compared are not told.
std::vector<TracedElement> trace_record(const FoundRecord& found, PieceReader& reader);

}  // namespace charpie::flow
