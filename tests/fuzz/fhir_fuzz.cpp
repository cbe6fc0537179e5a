// Any bytes as FHIR: reading must neither crash nor hang, and what it makes of them can be written again, in
// XML as the tree of the JSON would be.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fhir/xml.hpp"
#include "mapping/read.hpp"
#include "syntax/json.hpp"
#include "syntax/xml_write.hpp"

using namespace charpie;

namespace {

struct Loaded {
  Tables tables{embedded_tables()};
  terms::Terms terms = std::move(terms::Terms::load(tables)).value();
  units::Units units = std::move(units::Units::load(tables)).value();
  mapping::FixedUnits fixed = std::move(mapping::FixedUnits::load(tables, units)).value();
  std::unique_ptr<mapping::Mapping> mapping = std::move(mapping::Mapping::load(tables, terms, fixed)).value();
  syntax::Names names{};
  fhir::Elements elements = std::move(fhir::Elements::load(tables, fhir::Version::r4, names)).value();
  Loaded() { mapping->lay_out_in_xml(elements); }
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Loaded loaded;
  const std::string bytes(reinterpret_cast<const char*>(data), size);
  Arena arena;
  auto tree = syntax::read_json(bytes, arena, loaded.mapping->names());
  if (!tree) return 0;
  mapping::Reader reader(*loaded.mapping, {});
  record::Findings findings;
  findings.begin("fuzz.json", {}, bytes, 1);
  std::vector<record::Record> records;
  reader.read(**tree, bytes, arena, findings, records);
  mapping::Writer writer(*loaded.mapping, {});
  mapping::Writer xml_writer(*loaded.mapping, {}, mapping::Notation::xml);
  for (const auto& record : records) {
    std::string out;
    writer.check(record, findings);
    writer.write_bundle(record, out);
    Arena of_bundle;
    const auto bundle = syntax::read_json(out, of_bundle, loaded.elements.names());
    std::string of_tree, xml(syntax::xml_declaration);
    const bool holds = bundle && fhir::to_xml(**bundle, loaded.elements, of_tree);
    if (xml_writer.write_bundle(record, xml) != holds || (holds && xml != of_tree)) std::abort();
  }
  return 0;
}
