#include "record/record.hpp"

#include <string>

namespace charpie::record {

const Value* Record::at(FieldId id) const {
  const Field& wanted = field(id);
  if (id == FieldId::visit) return root;
  const Value* group = wanted.parent == FieldId::visit ? root : at(wanted.parent);
  return member(group, id);
}

std::string_view Record::text(FieldId id) const {
  const Value* value = at(id);
  if (value == nullptr || value->form != Form::leaf) return {};
  return value->code != nullptr ? value->code->word : value->text;
}

std::string_view Record::name() const {
  const auto id = text(FieldId::id);
  return id.empty() ? stand_in : id;
}

Value* make_group(Arena& arena, const Field& shape) {
  Value* group = arena.make<Value>();
  group->form = Form::group;
  group->kind = Kind::group;
  group->count = shape.members;
  group->children = arena.make_row<Value*>(shape.members);
  return group;
}

Value* make_leaf(Arena& arena, Kind kind, std::string_view text) {
  Value* leaf = arena.make<Value>();
  leaf->kind = kind;
  leaf->text = text;
  return leaf;
}

namespace {

bool same(const Coding& a, const Coding& b) {
  return a.system == b.system && a.code == b.code && a.display == b.display;
}

bool same(const Code* a, const Code* b) {
  if (a == nullptr || b == nullptr) return a == b;
  if (a->word != b->word || !same(a->foreign, b->foreign) || a->text != b->text ||
      a->also_count != b->also_count) {
    return false;
  }
  for (std::uint32_t i = 0; i < a->also_count; ++i) {
    if (!same(a->also[i], b->also[i])) return false;
  }
  return true;
}

bool same(const Quantity* a, const Quantity* b) {
  if (a == nullptr || b == nullptr) return a == b;
  return a->value == b->value && a->unit == b->unit && a->comparator == b->comparator &&
         a->estimated == b->estimated;
}

// Walks both trees at once; the path grows and shrinks in one string.
class Comparison {
 public:
  explicit Comparison(DifferenceSink* sink) : sink_(sink) {}
  std::size_t differences() const { return differences_; }

  void values(const Field& shape, const Value* a, const Value* b) {
    if (a == nullptr && b == nullptr) return;
    if (a == nullptr || b == nullptr || a->form != b->form) return differ(a, b);
    switch (a->form) {
      case Form::group:
        return groups(shape, a, b);
      case Form::list:
        return lists(shape, a, b);
      case Form::none:
        return;
      case Form::absent:
        if (a->text != b->text) differ(a, b);
        return;
      case Form::leaf:
        if (a->kind != b->kind || a->text != b->text || !same(a->code, b->code) ||
            !same(a->quantity, b->quantity)) {
          differ(a, b);
        }
        return;
    }
  }

 private:
  void groups(const Field& shape, const Value* a, const Value* b) {
    const std::size_t length = path_.size();
    for (FieldId id = shape.first_member; id != FieldId::visit; id = field(id).next_sibling) {
      const Field& inner = field(id);
      if (a->children[inner.slot] == nullptr && b->children[inner.slot] == nullptr) continue;
      if (!path_.empty()) path_ += '.';
      path_ += inner.name;
      values(inner, a->children[inner.slot], b->children[inner.slot]);
      path_.resize(length);
    }
  }

  void lists(const Field& shape, const Value* a, const Value* b) {
    const std::size_t length = path_.size();
    for (std::uint32_t i = 0; i < a->count || i < b->count; ++i) {
      path_ += '[';
      path_ += std::to_string(i);
      path_ += ']';
      values(shape, i < a->count ? a->children[i] : nullptr, i < b->count ? b->children[i] : nullptr);
      path_.resize(length);
    }
  }

  void differ(const Value* a, const Value* b) {
    ++differences_;
    if (sink_ != nullptr) sink_->differ(path_, a, b);
  }

  DifferenceSink* sink_;
  std::string path_;
  std::size_t differences_ = 0;
};

void visit_below(
    const Value* value, const Field& shape, std::string& path,
    const std::function<void(const std::string& path, const Field& field, const Value& value)>& use) {
  if (value == nullptr) return;
  const auto length = path.size();
  if (value->form == Form::list) {
    for (std::uint32_t i = 0; i < value->count; ++i) {
      path += '[' + std::to_string(i) + ']';
      visit_below(value->children[i], shape, path, use);
      path.resize(length);
    }
    return;
  }
  if (value->form != Form::group) return use(path, shape, *value);
  for (auto id = shape.first_member; id != FieldId::visit; id = field(id).next_sibling) {
    const Field& member = field(id);
    if (length != 0) path += '.';
    path += member.name;
    visit_below(value->children[member.slot], member, path, use);
    path.resize(length);
  }
}

}  // namespace

void visit_values(
    const Record& record,
    const std::function<void(const std::string& path, const Field& field, const Value& value)>& use) {
  std::string path;
  visit_below(record.root, field(FieldId::visit), path, use);
}

std::size_t compare(const Record& a, const Record& b, DifferenceSink* sink) {
  Comparison comparison(sink);
  comparison.values(field(FieldId::visit), a.root, b.root);
  return comparison.differences();
}

}  // namespace charpie::record
