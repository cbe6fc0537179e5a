#include "flow/round_trip.hpp"

#include <algorithm>

#include "fhir/xml.hpp"
#include "flow/instance_path.hpp"
#include "mapping/document_text.hpp"
#include "record/write.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

using record::FindingId;

namespace {

class Collector final : public record::DifferenceSink {
 public:
  std::vector<Difference> found;
  void differ(std::string_view path, const record::Value* a, const record::Value* b) override {
    Difference one{std::string(path), {}, {}, {}};
    if (const auto* field = record::find_field(record::without_indexes(path))) {
      if (a != nullptr) record::write_value(*field, *a, one.sent);
      if (b != nullptr) record::write_value(*field, *b, one.came_back);
    }
    found.push_back(std::move(one));
  }
};

}  // namespace

bool lies_in(std::string_view path, std::string_view field) {
  if (!path.starts_with(field)) return false;
  return path.size() == field.size() || path[field.size()] == '.' || path[field.size()] == '[';
}

RoundTrip::RoundTrip(const Engine& engine, const Form& through, const mapping::Options& options)
    : form_(&through),
      mapping_(&engine.mapping(through)),
      elements_(engine.elements(through)),
      writer_(*mapping_, options),
      reader_(*mapping_, options) {}

// What was written, as a tree in the arena; `bytes` is the text that its places count in.
Result<syntax::Node*> RoundTrip::read_again(std::string_view& bytes, bool& written_well) {
  bytes = there_;
  if (form_->is_site) {
    if (auto written = mapping::write_piece(there_, *mapping_, piece_); !written) {
      written_well = false;
      return written.error();
    }
    auto document = mapping::read_document(piece_, *mapping_, arena_);
    if (!document) return document.error();
    bytes = document->text;
    return document->root;
  }
  auto tree = syntax::read_json(there_, arena_, mapping_->names());
  if (!tree || form_->syntax == Syntax::json) return tree;
  text_.clear();
  if (auto written = fhir::to_xml(**tree, *elements_, text_, there_); !written) return written.error();
  auto document = fhir::read_xml(text_, *elements_, arena_);
  if (!document) return document.error();
  bytes = document->text;
  return document->root;
}

TripReport RoundTrip::send(const record::Record& record, record::Findings& findings) {
  TripReport report;
  const auto mark = findings.all().size();
  writer_.check(record, findings);
  std::vector<std::string> not_carried;
  for (auto one = findings.all().begin() + static_cast<std::ptrdiff_t>(mark); one != findings.all().end();
       ++one) {
    if (one->id == FindingId::not_carried || one->id == FindingId::not_in_form ||
        one->id == FindingId::read_alike)
      not_carried.push_back(one->path);
  }
  report.not_carried = not_carried.size();

  there_.clear();
  if (!writer_.write_bundle(record, there_) && form_->is_site) {
    const auto why = mapping::reads_as_another().message;
    findings.report(FindingId::not_written, {}, record.root->offset, {why});
    report.trouble = "was not written: " + why;
    return report;
  }
  arena_.reset();
  std::string_view bytes;
  bool written_well = true;
  const auto tree = read_again(bytes, written_well);
  if (!written_well) {
    findings.report(FindingId::not_written, {}, record.root->offset, {tree.error().message});
    report.trouble = "was not written: " + tree.error().message;
    return report;
  }
  if (!tree) {
    report.trouble = "what was written cannot be read: " + tree.error().message;
    return report;
  }
  const std::string key(record.text(record::FieldId::id));
  const std::string name = key + " as written";
  record::Findings reading;
  reading.begin(name, key, bytes, 1);
  std::vector<record::Record> back;
  reader_.read(**tree, bytes, arena_, reading, back);
  report.findings = reading.take();
  if (back.size() != 1) {
    report.trouble = "came back as " + std::to_string(back.size()) + " visits";
    return report;
  }
  Collector collector;
  record::compare(record, back.front(), &collector);
  std::erase_if(collector.found, [&](const Difference& one) {
    return std::any_of(not_carried.begin(), not_carried.end(), [&](const std::string& field) {
      // A group that vanished because its only member does not travel differs as a whole.
      return lies_in(one.path, field) || (one.came_back.empty() && lies_in(field, one.path));
    });
  });
  report.differences = std::move(collector.found);
  if (!report.differences.empty()) {
    find_whereabouts(record, report.differences);
    return report;
  }
  again_.clear();
  writer_.write_bundle(back.front(), again_);
  if (again_ != there_) {
    const auto at = static_cast<std::size_t>(
        std::mismatch(there_.begin(), there_.end(), again_.begin(), again_.end()).first - there_.begin());
    report.trouble = "written again, it differs at " + instance_path(**tree, at, at);
    return report;
  }
  report.same = std::none_of(report.findings.begin(), report.findings.end(), [](const record::Finding& one) {
    return one.severity >= record::Severity::error;
  });
  if (!report.same) report.trouble = "reading found errors in what was written";
  return report;
}

// Writes once more and keeps track of which byte came from where.
void RoundTrip::find_whereabouts(const record::Record& record, std::vector<Difference>& differences) {
  std::vector<mapping::Lineage> lineage;
  there_.clear();
  writer_.trace(&lineage);
  writer_.write_bundle(record, there_);
  writer_.trace(nullptr);
  Arena arena;
  const auto tree = syntax::read_json(there_, arena, mapping_->names());
  if (!tree) return;
  for (auto& difference : differences) {
    for (const auto& one : lineage) {
      if (one.path.empty() || !lies_in(one.path, difference.path)) continue;
      difference.where.push_back({instance_path(**tree, one.begin, one.end), one.mirror,
                                  std::string(one.place.file), one.place.line});
    }
    std::stable_sort(difference.where.begin(), difference.where.end(),
                     [](const Whereabouts& a, const Whereabouts& b) { return a.mirror < b.mirror; });
  }
}

}  // namespace charpie::flow
