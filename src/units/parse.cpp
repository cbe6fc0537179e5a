#include "units/parse.hpp"

namespace charpie::units {

namespace {

struct Nothing {
  void component(const Component&) {}
  void open(bool) {}
  void close(std::string_view) {}
};

}  // namespace

Fault validate(std::string_view code, const AtomTable& table) {
  Nothing sink;
  return parse(code, table, sink);
}

}  // namespace charpie::units
