// Strict reading of any JSON, in both versions: never crashes, and finds the same when it reads again.
#include <cstdlib>
#include <string_view>

#include "fhir/strict.hpp"
#include "syntax/json.hpp"

using namespace charpie;

namespace {

struct Reader {
  explicit Reader(fhir::Version version)
      : tables(embedded_tables()),
        elements(fhir::Elements::load(tables, version, names)),
        strict(*elements) {}
  Tables tables;
  syntax::Names names;
  Result<fhir::Elements> elements;
  fhir::StrictReader strict;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Reader readers[] = {Reader(fhir::Version::r4), Reader(fhir::Version::r5)};
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  for (const auto& reader : readers) {
    Arena arena;
    const auto root = syntax::read_json(bytes, arena, reader.names);
    if (!root) continue;
    record::Findings first, second;
    first.begin("fuzz", "", bytes, 1);
    second.begin("fuzz", "", bytes, 1);
    reader.strict.read(**root, first);
    reader.strict.read(**root, second);
    if (first.all().size() != second.all().size()) std::abort();
    for (std::size_t i = 0; i < first.all().size(); ++i) {
      if (first.all()[i].path != second.all()[i].path || first.all()[i].path.empty()) std::abort();
    }
  }
  return 0;
}
