// Where a short text stands in a table: words of the domains, names of members. Not for what a stranger may
// choose by the thousand: nothing keeps texts of one hash apart.
#pragma once
#include <cstdint>
#include <cstring>
#include <string_view>

namespace charpie {

/// The same for the same bytes, in one run on one machine. Eight bytes at a time, the last ones upon those
/// before.
inline std::uint64_t hash_of(std::string_view text) {
  constexpr std::uint64_t odd = 0x9E3779B97F4A7C15u;
  std::uint64_t hash = text.size() * odd;
  const auto mix = [&](std::uint64_t bytes) {
    hash = (hash ^ bytes) * odd;
    hash ^= hash >> 32;
  };
  const auto eight = [](const char* from) {
    std::uint64_t bytes;
    std::memcpy(&bytes, from, sizeof bytes);
    return bytes;
  };
  const auto four = [](const char* from) {
    std::uint32_t bytes;
    std::memcpy(&bytes, from, sizeof bytes);
    return std::uint64_t{bytes};
  };
  const char* const end = text.data() + text.size();
  if (text.size() >= 8) {
    for (const char* at = text.data(); end - at > 8; at += 8) mix(eight(at));
    mix(eight(end - 8));
  } else if (text.size() >= 4) {
    mix(four(text.data()) << 32 | four(end - 4));
  } else {
    for (const char c : text) mix(static_cast<unsigned char>(c));
  }
  return hash;
}

/// For the standard's tables.
struct HashOf {
  std::size_t operator()(std::string_view text) const { return hash_of(text); }
};

}  // namespace charpie
