// The unit tables as the program carries them.
#pragma once
#include <doctest/doctest.h>

#include <string>

#include "base/tables.hpp"
#include "units/units.hpp"

namespace charpie::units {

inline const Units& engine() {
  static const Units units = [] {
    auto loaded = Units::load(Tables(embedded_tables()));
    REQUIRE_MESSAGE(bool(loaded), (loaded ? std::string() : loaded.error().message));
    return *loaded;
  }();
  return units;
}

/// The result as text, "≈" before it when it was rounded, "!" when it was refused.
inline std::string converted(std::string_view value, std::string_view from, std::string_view to,
                             const Rounding& rounding = Rounding::complete()) {
  const auto result = engine().convert(value, from, to, rounding);
  if (!result) return "!";
  return (result->exact ? "" : "≈") + result->text;
}

}  // namespace charpie::units
