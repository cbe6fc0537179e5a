#include "flow/explanation.hpp"

#include <algorithm>
#include <charconv>

#include "flow/instance_path.hpp"
#include "mapping/document_text.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

namespace {

constexpr std::string_view entry_path = "Bundle.entry[";

// Cuts "Bundle.entry[3].resource.status" into 3 and "status"; false for what is no entry's.
bool split_entry(std::string_view path, std::size_t& entry, std::string_view& rest) {
  if (!path.starts_with(entry_path)) return false;
  path.remove_prefix(entry_path.size());
  const auto read = std::from_chars(path.data(), path.data() + path.size(), entry);
  rest = path.substr(static_cast<std::size_t>(read.ptr - path.data()) + 2);  // past "]."
  return true;
}

}  // namespace

Result<std::vector<ExplainedElement>> explain_bundle(const record::Record& record,
                                                     const mapping::Mapping& mapping,
                                                     const mapping::Options& options) {
  mapping::Writer writer(mapping, options);
  std::vector<mapping::Lineage> lineage;
  std::string bundle;
  writer.trace(&lineage);
  if (!writer.write_bundle(record, bundle)) return mapping::reads_as_another();
  writer.trace(nullptr);
  std::vector<const mapping::Template*> entries;
  for (const auto& one : writer.plan(record).instances()) {
    if (!one.again) entries.push_back(one.made_from);
  }
  std::vector<ExplainedElement> elements;
  Arena arena;
  const auto tree = syntax::read_json(bundle, arena, mapping.names());
  if (!tree) return elements;
  auto next = lineage.begin();  // stretches come in the order of the bytes
  visit_leaves(**tree, [&](const std::string& path, const syntax::Node& leaf) {
    ExplainedElement one;
    std::string_view rest;
    if (mapping.is_document())
      rest = path;
    else if (!split_entry(path, one.entry, rest))
      return;
    if (one.entry >= entries.size()) return;
    one.resource_type = entries[one.entry]->resource_type;
    constexpr std::string_view resource = "resource.";
    one.element = rest.starts_with(resource) ? rest.substr(resource.size()) : rest;
    one.value = leaf.text;
    one.file = entries[one.entry]->place.file;
    one.line = entries[one.entry]->place.line;
    one.derived = one.value.starts_with("urn:uuid:");  // ids and references come from the source's keys
    while (next != lineage.end() && next->end <= leaf.begin) ++next;
    for (; next != lineage.end() && next->begin >= leaf.begin && next->end <= leaf.end; ++next) {
      one.file = next->place.file;
      one.line = next->place.line;
      if (next->path.empty()) {
        one.derived = true;
      } else {
        one.mirror = next->mirror;
        if (std::find(one.fields.begin(), one.fields.end(), next->path) == one.fields.end()) {
          one.fields.push_back(next->path);
        }
      }
    }
    elements.push_back(std::move(one));
  });
  return elements;
}

}  // namespace charpie::flow
