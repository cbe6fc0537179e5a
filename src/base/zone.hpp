// Time zones from the system's zone data: what the clock on the wall says, and what it does not say twice or
// never.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace date {
class time_zone;
}

namespace charpie {

/// A zone of the system's zone data, or a fixed offset from UTC. A handle: the data lives as long as the
/// program.
class Zone {
 public:
  /// The zone of an IANA name; nothing when the zone data has none of that name, or cannot be read.
  static std::optional<Zone> named(std::string_view name);
  static Zone fixed(int offset_minutes);

  /// Offset east of UTC in minutes at an instant (seconds since 1970-01-01T00:00Z).
  int offset_at(std::int64_t seconds) const;

  /// How a time on the wall is met.
  enum class Clock { once, never, twice };
  /// The instant of a time on the wall, given as seconds since 1970-01-01T00:00 of that clock. In a gap: the
  /// first instant after it. In an overlap: the earlier of the two.
  struct Meeting {
    std::int64_t seconds = 0;
    int offset_minutes = 0;
    Clock clock = Clock::once;
  };
  Meeting at_wall(std::int64_t wall_seconds) const;

  bool is_fixed() const { return zone_ == nullptr; }

 private:
  const date::time_zone* zone_ = nullptr;
  int offset_minutes_ = 0;
};

/// "+01:00", "-05:30", "Z".
std::string offset_text(int minutes);

}  // namespace charpie
