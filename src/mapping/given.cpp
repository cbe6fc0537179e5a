#include "mapping/given.hpp"

#include <vector>

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using record::Form;
using record::Value;

namespace {

// Groups that every record has, or must have to be told from those of others.
bool is_always_there(const Field& group) {
  return group.id == FieldId::source ||
         (group.parent == FieldId::visit && group.occurs == record::Occurs::required);
}

using Use = std::function<void(Value* group, const Field& field, const std::string& path)>;

void descend(Value* at, std::vector<FieldId>::const_reverse_iterator way,
             std::vector<FieldId>::const_reverse_iterator end, const std::string& path, const Use& use) {
  const Field& field = record::field(*way);
  const auto here = (path.empty() ? "" : path + ".") + std::string(field.name);
  if (way + 1 == end) return use(at, field, here);
  Value* below = at == nullptr ? nullptr : at->children[field.slot];
  if (below == nullptr) {
    if (is_always_there(field)) descend(nullptr, way + 1, end, here, use);
    return;
  }
  if (below->form == Form::group) descend(below, way + 1, end, here, use);
  if (below->form != Form::list) return;
  for (std::uint32_t i = 0; i < below->count; ++i) {
    if (below->children[i]->form != Form::group) continue;
    descend(below->children[i], way + 1, end, here + "[" + std::to_string(i) + "]", use);
  }
}

}  // namespace

void visit_given(Value* root, FieldId field, const Use& use) {
  std::vector<FieldId> way;
  for (auto at = field; at != FieldId::visit; at = record::field(at).parent) way.push_back(at);
  const std::vector<FieldId>& fixed = way;
  descend(root, fixed.rbegin(), fixed.rend(), {}, use);
}

}  // namespace charpie::mapping
