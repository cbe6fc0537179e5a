// Any bytes as FHIR, in XML or JSON: what can be written as XML is read again the same.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "fhir/xml.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

struct Loaded {
  syntax::Names names;
  Tables tables{embedded_tables()};
  fhir::Elements elements = std::move(fhir::Elements::load(tables, fhir::Version::r4, names)).value();
};

std::string json_of(const syntax::Node& node) {
  std::string out;
  syntax::append_json(node, out);
  return out;
}

// The tree as XML and back, twice. Members come back in the tables' order, so the second time all is the
// same.
void check(const syntax::Node& resource, std::string_view bytes, const fhir::Elements& elements) {
  std::string xml;
  const auto done = fhir::to_xml(resource, elements, xml, bytes);
  if (!done) {
    require(xml.empty() && !done.error().message.empty() && !done.error().mend.empty());
    return;
  }
  Arena arena;
  const auto again = fhir::read_xml(xml, elements, arena);
  if (!again) {
    // A narrative can be deep by itself.
    require(again.error().message.starts_with("elements are nested deeper"));
    return;
  }
  require(again->oddities.empty());
  std::string second;
  require(bool(fhir::to_xml(*again->root, elements, second)));
  // A bare carriage return stands only in a narrative, and becomes a line feed.
  if (xml.find('\r') == std::string::npos) require(second == xml);
  Arena last_arena;
  const auto last = fhir::read_xml(second, elements, last_arena);
  require(bool(last) && json_of(*last->root) == json_of(*again->root));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Loaded loaded;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  Arena arena;
  if (syntax::looks_like_xml(bytes)) {
    const auto resource = fhir::read_xml(bytes, loaded.elements, arena);
    if (!resource) {
      require(!resource.error().message.empty() && resource.error().line >= 1);
      return 0;
    }
    for (const auto& oddity : resource->oddities) require(oddity.begin < resource->text.size());
    check(*resource->root, resource->text, loaded.elements);
  } else if (const auto tree = syntax::read_json(bytes, arena, loaded.names)) {
    check(**tree, bytes, loaded.elements);
  }
  return 0;
}
