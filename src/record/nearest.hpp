// Which field was probably meant by a name that is none.
#pragma once
#include <string>
#include <string_view>

#include "record/dictionary.hpp"

namespace charpie::record {

/// " – did you mean 'size.length'?", or empty when nothing is near. Looks at the names of `group` first, then
/// at the whole dictionary; letter case and the separators _ - and blank do not count.
std::string nearest_field(const Field& group, std::string_view name);

/// The edit distance of two texts: insertions, deletions, replacements and swaps of neighbours (optimal
/// string alignment), in bytes.
std::size_t edit_distance(std::string_view a, std::string_view b);

}  // namespace charpie::record
