#include "flow/trace.hpp"

#include <algorithm>
#include <unordered_map>

#include "flow/instance_path.hpp"
#include "record/write.hpp"

namespace charpie::flow {

namespace {

struct Charted {
  std::string field, value;
};

using Values = std::unordered_map<const record::Value*, Charted>;

// The values of the record by the nodes that hold them. A list that a cell answers with "none" is one.
Values values_of(const record::Record& record) {
  Values values;
  record::visit_values(record,
                       [&](const std::string& path, const record::Field& field, const record::Value& value) {
                         auto& one = values[&value];
                         one.field = path;
                         record::write_value(field, value, one.value);
                       });
  return values;
}

class Trace {
 public:
  Trace(const FoundRecord& found, PieceReader& reader)
      : found_(found), reader_(reader), values_(values_of(*found.record)) {
    visit_leaves(*reader.tree(),
                 [&](const std::string& path, const syntax::Node& leaf) { paths_.emplace(&leaf, path); });
  }

  std::vector<TracedElement> run() {
    auto& findings = reader_.findings();
    findings.begin(found_.file, {}, reader_.text(), static_cast<std::uint32_t>(found_.piece->line),
                   static_cast<std::uint32_t>(found_.piece->column));
    findings.set_parts(found_.piece->parts);
    std::vector<mapping::Taken> taken(reader_.taken().begin(), reader_.taken().end());
    const auto order = [](const mapping::Taken& one) {
      return one.node == nullptr ? no_node : one.node->begin;
    };
    std::stable_sort(taken.begin(), taken.end(),
                     [&](const auto& a, const auto& b) { return order(a) < order(b); });
    for (const auto& one : taken) add(one);
    for (const auto& one : reader_.unread()) {
      if (one.record_key != found_.record->name()) continue;
      TracedElement element{.kind = TracedElement::Kind::unread, .element = one.path};
      stand(*one.node, element);
      traced_.push_back(std::move(element));
    }
    return std::move(traced_);
  }

 private:
  static constexpr std::uint32_t no_node = 0xFFFFFFFF;

  void stand(const syntax::Node& node, TracedElement& element) {
    element.text = node.text;
    const auto where = reader_.findings().position(node.begin);
    element.file = where.file;
    element.line = where.line;
  }

  void add(const mapping::Taken& one) {
    const auto value = values_.find(one.value);
    if (value == values_.end()) return;  // of another record of the document
    TracedElement element{
        .kind = one.node == nullptr ? TracedElement::Kind::implied : TracedElement::Kind::taken,
        .field = value->second.field,
        .value = value->second.value,
        .rule = one.place};
    if (one.node != nullptr) {
      // What stands around several records of a document is looked at through copies of its nodes.
      const auto path = paths_.find(one.node);
      element.element = path != paths_.end()
                            ? path->second
                            : instance_path(*reader_.tree(), one.node->begin, one.node->end);
      stand(*one.node, element);
    }
    if (one.word != nullptr) element.word_row = {one.words->file(), one.word->line};
    // A cell with a declared unit gives a value and its unit: one line.
    if (!traced_.empty() && one.node == last_ && traced_.back().field == element.field) {
      if (traced_.back().word_row.file.empty()) traced_.back().word_row = element.word_row;
      return;
    }
    last_ = one.node;
    traced_.push_back(std::move(element));
  }

  const FoundRecord& found_;
  PieceReader& reader_;
  Values values_;
  std::unordered_map<const syntax::Node*, std::string> paths_;
  std::vector<TracedElement> traced_;
  const syntax::Node* last_ = nullptr;
};

}  // namespace

std::vector<TracedElement> trace_record(const FoundRecord& found, PieceReader& reader) {
  if (reader.tree() == nullptr) return {};
  return Trace(found, reader).run();
}

}  // namespace charpie::flow
