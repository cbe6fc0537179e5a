// What the draft of a layout leaves to a person (flow/draft.hpp), and where that still stands in a layout: as
// long as it does, the layout is not used.
#pragma once
#include <optional>
#include <string_view>

#include "base/result.hpp"
#include "base/tables.hpp"

namespace charpie::flow {

inline constexpr std::string_view declare_mark = "DECLARE";  // nobody but the site knows it
inline constexpr std::string_view decide_mark = "DECIDE";    // there is a proposal, or a nearest word

/// Error::mapping_broken at the first mark in set.json, or among the meanings of a table of words, of the
/// layout in `folder` ("sites/NAME"); its mend names all others. Nothing when there is none.
std::optional<Error> undecided(const Tables& tables, std::string_view folder);

}  // namespace charpie::flow
