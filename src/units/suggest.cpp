#include "units/suggest.hpp"
#include "units/units.hpp"
namespace charpie::units {
Result<std::shared_ptr<const Slips>> Slips::load(const Tables&, const AtomTable& table) {
  return std::shared_ptr<const Slips>(new Slips(table));
}
std::vector<std::string> Slips::suggest(std::string_view) const { return {}; }
std::vector<Warning> Slips::warnings(std::string_view) const { return {}; }
}
