#include "base/zone.hpp"

#include <date/tz.h>

#include <chrono>
#include <stdexcept>

namespace charpie {

namespace {

int minutes_of(std::chrono::seconds offset) {
  return static_cast<int>(std::chrono::duration_cast<std::chrono::minutes>(offset).count());
}

}  // namespace

std::optional<Zone> Zone::named(std::string_view name) {
  try {
    Zone zone;
    zone.zone_ = date::locate_zone(std::string(name));
    return zone;
  } catch (const std::runtime_error&) {
    return std::nullopt;  // the library's way of saying that there is no such zone
  }
}

Zone Zone::fixed(int offset_minutes) {
  Zone zone;
  zone.offset_minutes_ = offset_minutes;
  return zone;
}

int Zone::offset_at(std::int64_t seconds) const {
  if (zone_ == nullptr) return offset_minutes_;
  return minutes_of(zone_->get_info(date::sys_seconds(std::chrono::seconds(seconds))).offset);
}

Zone::Meeting Zone::at_wall(std::int64_t wall_seconds) const {
  if (zone_ == nullptr)
    return {wall_seconds - std::int64_t{offset_minutes_} * 60, offset_minutes_, Clock::once};
  const auto info = zone_->get_info(date::local_seconds(std::chrono::seconds(wall_seconds)));
  if (info.result == date::local_info::nonexistent) {
    const auto instant = info.second.begin.time_since_epoch().count();
    return {instant, minutes_of(info.second.offset), Clock::never};
  }
  const auto instant = wall_seconds - info.first.offset.count();
  return {instant, minutes_of(info.first.offset),
          info.result == date::local_info::ambiguous ? Clock::twice : Clock::once};
}

std::string offset_text(int minutes) {
  if (minutes == 0) return "Z";
  const int size = minutes < 0 ? -minutes : minutes;
  std::string text(minutes < 0 ? "-" : "+");
  text += static_cast<char>('0' + size / 600);
  text += static_cast<char>('0' + size / 60 % 10);
  text += ':';
  text += static_cast<char>('0' + size % 60 / 10);
  text += static_cast<char>('0' + size % 10);
  return text;
}

}  // namespace charpie
