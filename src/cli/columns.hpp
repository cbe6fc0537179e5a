// Lines for people: columns, and what is masked in them.
#pragma once
#include <string>
#include <string_view>

namespace charpie::cli {

/// What stands in place of a patient's identifier.
inline constexpr std::string_view masked = "(identifier)";

/// A cell that lines up with those above it as long as the texts are ordinary; two spaces behind it.
std::string padded(std::string_view text, std::size_t width);

/// Whether a field's path is of an identifier of a patient, which is shown by --show-keys only.
bool is_identifier(std::string_view field);

}  // namespace charpie::cli
