#include "record/missing.hpp"

#include <string>

namespace charpie::record {

namespace {

void look(const Value& value, const Field& shape, const std::string& path, Findings& findings) {
  if (value.form == Form::list) {
    for (std::uint32_t i = 0; i < value.count; ++i)
      look(*value.children[i], shape, path + '[' + std::to_string(i) + ']', findings);
    return;
  }
  if (value.quantity != nullptr && value.quantity->value.empty())
    findings.report(FindingId::field_missing, path + ".value", value.offset, {});
  if (value.form != Form::group) return;
  for (auto id = shape.first_member; id != FieldId::visit; id = field(id).next_sibling) {
    const auto& member = field(id);
    const Value* inside = value.children[member.slot];
    const auto below = path.empty() ? std::string(member.name) : path + '.' + std::string(member.name);
    if (inside != nullptr)
      look(*inside, member, below, findings);
    else if (member.occurs == Occurs::required)
      findings.report(FindingId::field_missing, below, value.offset, {});
  }
}

}  // namespace

void report_missing(const Record& record, Findings& findings) {
  look(*record.root, field(FieldId::visit), {}, findings);
  // As the reader of our own JSON has it: what was done has a start.
  const Value* outcome = record.at(FieldId::performed_outcome);
  if (outcome != nullptr && outcome->code != nullptr && outcome->code->word != "not-done" &&
      record.at(FieldId::performed_start) == nullptr)
    findings.report(FindingId::field_missing, "performed.start", record.root->offset, {});
}

}  // namespace charpie::record
