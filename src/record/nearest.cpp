#include "record/nearest.hpp"

#include <algorithm>
#include <vector>

namespace charpie::record {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  // Three rows: the one before last is needed for swaps.
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), now(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    now[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      now[j] = std::min({last[j] + 1, now[j - 1] + 1, last[j - 1] + (a[i - 1] != b[j - 1])});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        now[j] = std::min(now[j], before[j - 2] + 1);
    }
    before.swap(last);
    last.swap(now);
  }
  return last[b.size()];
}

namespace {

std::string plain(std::string_view name) {
  std::string text;
  for (const char c : name) {
    if (c == '_' || c == '-' || c == ' ') continue;
    text += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  }
  return text;
}

}  // namespace

std::string nearest_field(const Field& group, std::string_view name) {
  constexpr std::size_t longest = 40;  // no field is near to something longer
  if (name.size() > longest) return {};
  const std::string wanted = plain(name);
  const std::size_t within = std::max<std::size_t>(1, wanted.size() / 3);
  const Field* best = nullptr;
  std::size_t best_distance = within + 1;
  for (const bool siblings : {true, false}) {
    for (const Field& row : dictionary().subspan(1)) {
      if ((row.parent == group.id) != siblings) continue;
      // Elsewhere only the very name counts: the value stands in the wrong group.
      const std::size_t distance = edit_distance(wanted, plain(row.name)) + (siblings ? 0 : within);
      if (distance < best_distance) {
        best = &row;
        best_distance = distance;
      }
    }
  }
  if (best == nullptr) return {};
  return " – did you mean '" + std::string(best->path) + "'?";
}

}  // namespace charpie::record
