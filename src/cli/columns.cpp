#include "cli/columns.hpp"

#include "flow/round_trip.hpp"

namespace charpie::cli {

std::string padded(std::string_view text, std::size_t width) {
  std::string cell(text);
  if (cell.size() < width) cell.append(width - cell.size(), ' ');
  return cell.append("  ");
}

bool is_identifier(std::string_view field) {
  return flow::lies_in(field, "patient.id") || flow::lies_in(field, "encounter.id");
}

}  // namespace charpie::cli
