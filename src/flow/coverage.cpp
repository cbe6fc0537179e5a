#include "flow/coverage.hpp"

#include <algorithm>
#include <map>
#include <set>

#include "flow/convert.hpp"
#include "flow/piece_reader.hpp"
#include "flow/source.hpp"

namespace charpie::flow {

namespace {

using Counts = std::map<std::string, std::uint64_t>;

Counted by_frequency(const Counts& counts) {
  Counted all(counts.begin(), counts.end());
  std::stable_sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
  return all;
}

}  // namespace

Result<Coverage> cover(const std::vector<std::string>& files, const Engine& engine, const Form& form) {
  Coverage coverage;
  Counts filled, unread, words, findings;
  PieceReader reader(engine, form, {});
  const auto input = open_source(files, form, engine, Cut().sort_memory);
  if (!input) return input.error();
  Batch batch;
  while (true) {
    batch.clear();
    const auto more = (*input)->fill(batch);
    if (!more) return more.error();
    if (!*more) break;
    for (std::size_t i = 0; i < batch.count; ++i) {
      const auto records = reader.read(batch.pieces[i], batch.file);
      const auto found = reader.take_findings();
      coverage.records += std::max<std::size_t>(records.size(), 1);
      if (records.empty()) ++coverage.blocked;
      for (const auto& one : records) {
        std::set<std::string> fields;
        record::visit_values(one, [&](const std::string&, const record::Field& field, const record::Value&) {
          fields.emplace(field.path);
        });
        for (const auto& field : fields) ++filled[field];
        if (blocks(found, one.name())) ++coverage.blocked;
      }
      for (const auto& one : found) {
        if (one.id == record::FindingId::instance_unread)
          ++unread[record::without_indexes(one.path)];
        else if (one.id == record::FindingId::cell_unknown)
          ++words[one.message];
        else
          ++findings[std::string(record::finding_kind(one.id).slug)];
      }
    }
  }
  const auto& mapping = engine.mapping(form);
  for (const auto& field : record::dictionary()) {
    const bool has_place = std::any_of(mapping.homes().begin(), mapping.homes().end(),
                                       [&](const mapping::Home& home) { return home.field == field.id; });
    const std::string path(field.path);
    if (has_place && !field.is_group() && !filled.contains(path)) coverage.never.push_back(path);
  }
  coverage.filled = by_frequency(filled);
  coverage.unread = by_frequency(unread);
  coverage.words = by_frequency(words);
  coverage.findings = by_frequency(findings);
  return coverage;
}

}  // namespace charpie::flow
