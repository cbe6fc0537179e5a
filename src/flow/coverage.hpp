// What a site's layout makes of a sample: the fields that were filled, and what was left over, most frequent
// first.
#pragma once
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "base/result.hpp"
#include "flow/engine.hpp"

namespace charpie::flow {

using Counted = std::vector<std::pair<std::string, std::uint64_t>>;  // text, how often; most often first

struct Coverage {
  std::uint64_t records = 0, blocked = 0;  // read; held back by a finding that blocks, or broken
  Counted filled;                          // fields, by the records that have them
  std::vector<std::string> never;          // fields that the layout has a place for and no record filled
  Counted unread;                          // ways to what no template knows
  Counted words;     // cells that a table of words does not have: "'Po' is not in ort.csv"
  Counted findings;  // slugs of everything else
};

/// Reads the files. `engine`, loaded for `form`, must outlive the call. Error::unreadable.
Result<Coverage> cover(const std::vector<std::string>& files, const Engine& engine, const Form& form);

}  // namespace charpie::flow
