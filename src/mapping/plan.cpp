#include "mapping/plan.hpp"

#include <charconv>
#include <cstring>

namespace charpie::mapping {

using record::FieldId;
using record::Form;
using record::Record;
using record::Value;

namespace {

// Keys one after the other, each with its length, so that no two lists of keys give one name.
void append_part(std::string& name, std::string_view key) {
  name += std::to_string(key.size());
  name += ':';
  name += key;
}

Uuid space_of(std::string_view name_space) {
  if (const auto given = parse_uuid(name_space)) return *given;
  return uuid_v5(uuid_space_url, name_space);
}

}  // namespace

void Plan::make(const Record& record, const Options& options) {
  root_ = record.root;
  instances_.clear();
  first_.assign(mapping_->templates().size() + 1, 0);
  record_key_ = record.text(FieldId::id);
  const auto source = record.text(FieldId::source_system);
  const auto patient_system = record.text(FieldId::patient_system);
  identity_system_ = source.empty() ? std::string_view{options.name_space} : source;
  const std::string_view name_space = !options.name_space.empty() ? std::string_view{options.name_space}
                                      : !source.empty()           ? source
                                                                  : patient_system;
  root_space_ = space_of(name_space);
  name_ = "patient ";
  append_part(name_, patient_system);
  append_part(name_, record.text(FieldId::patient_id));
  patient_space_ = uuid_v5(root_space_, name_);
  name_ = "wound ";
  append_part(name_, record.text(FieldId::wound_system));
  append_part(name_, record.text(FieldId::wound_id));
  wound_space_ = uuid_v5(patient_space_, name_);
  name_ = "visit ";
  append_part(name_, source);
  append_part(name_, record_key_);
  visit_space_ = uuid_v5(wound_space_, name_);

  // Conditions of templates look at the record and at the loop's element only; no facet is computed for them.
  static const Knowledge nothing;
  Facets facets(nothing);
  Scope scope;
  scope.level[0] = root_;
  for (const auto& made_from : mapping_->templates()) {
    if (made_from.one_way) continue;
    scope.level[1] = nullptr;
    if (made_from.has_loop) {
      Value* list = follow(made_from.loop, scope);
      if (list == nullptr) continue;
      const bool is_list = list->form == Form::list;
      const std::uint32_t count = is_list ? list->count : 1;
      for (std::uint32_t i = 0; i < count; ++i) {
        scope.level[1] = is_list ? list->children[i] : list;
        if (!made_from.when.empty() && !holds(made_from.when, scope, options, facets)) continue;
        add(made_from, scope.level[1], i, is_list, options);
      }
      continue;
    }
    if (!made_from.any_of.empty()) {
      bool there = false;
      for (const auto& accessor : made_from.any_of) there = there || follow(accessor, scope) != nullptr;
      if (!there) continue;
    }
    if (!made_from.when.empty() && !holds(made_from.when, scope, options, facets)) continue;
    add(made_from, nullptr, 0, false, options);
  }
}

void Plan::add(const Template& made_from, Value* element, std::uint32_t index, bool indexed,
               const Options& options) {
  Planned made;
  made.made_from = &made_from;
  made.element = element;
  made.index = index;
  made.indexed = indexed;
  name_ = made_from.name;
  const Uuid* space = &visit_space_;
  switch (made_from.lifetime) {
    case Lifetime::visit:
      if (indexed) {
        name_ += '.';
        name_ += std::to_string(index);
      }
      break;
    case Lifetime::wound:
      space = &wound_space_;
      break;
    case Lifetime::patient:
      space = &patient_space_;
      break;
    case Lifetime::program:
      space = &uuid_space_url;  // one program, whatever it converts
      name_ = "program ";
      append_part(name_, options.version);
      break;
    case Lifetime::performer: {
      space = &root_space_;
      name_ = "performer ";
      const Value* system = record::member(element, FieldId::performer_system);
      const Value* id = record::member(element, FieldId::performer_id);
      append_part(name_, system == nullptr ? std::string_view{} : system->text);
      append_part(name_, id == nullptr ? std::string_view{} : id->text);
      break;
    }
  }
  write_uuid(uuid_v5(*space, name_), made.uuid.data());
  if (made_from.lifetime == Lifetime::performer) made.again = find_uuid(made.uuid_text()) != nullptr;
  instances_.push_back(made);
  if (first_[made_from.number] == 0) first_[made_from.number] = static_cast<std::uint32_t>(instances_.size());
}

const Planned* Plan::find(std::uint32_t template_number) const {
  const auto place = first_[template_number];
  return place == 0 ? nullptr : &instances_[place - 1];
}

const Planned* Plan::find(std::uint32_t template_number, const Value* element) const {
  for (auto place = first_[template_number]; place != 0 && place <= instances_.size(); ++place) {
    const auto& one = instances_[place - 1];
    if (one.made_from->number != template_number) break;
    if (one.element == element) return &one;
  }
  return nullptr;
}

const Planned* Plan::find_uuid(std::string_view text) const {
  for (const auto& one : instances_) {
    if (one.uuid_text() == text) return &one;
  }
  return nullptr;
}

void Plan::append_key(const Planned& instance, std::string_view record_key, std::string& out) const {
  out += record_key;
  out += '#';
  out += instance.made_from->name;
  append_index(instance, out);
}

void Plan::append_index(const Planned& instance, std::string& out) const {
  if (!instance.indexed) return;
  char digits[10];
  const auto end = std::to_chars(digits, digits + sizeof digits, instance.index).ptr;
  out += '.';
  out.append(digits, end);
}

}  // namespace charpie::mapping
