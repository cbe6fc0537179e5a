// The least that any program with this parser has to do: parse the input with the parser settings of
// syntax/json.cpp into a handler that keeps nothing, and copy as many bytes as the real program writes.
#pragma once
#include <cstddef>
#include <string>
#include <string_view>

namespace charpie::bench {

/// Parses `input` and appends `output_bytes` bytes to `out`, taken from `pattern` in one piece (it must be at
/// least that long). Returns the number of events, so that no compiler drops the work.
std::size_t floor_work(std::string_view input, std::string_view pattern, std::size_t output_bytes,
                       std::string& out);

}  // namespace charpie::bench
