// How reading works, in order: every instance is recognised by the index of codes; instances are put together
// to visits by their business identifiers; the parts of each template are matched, homes first, and copies
// are put aside; when a record is complete, its plan is made as for writing, and each copy is compared with
// what this program would write there. What nobody understood at the end is reported.
#include "mapping/read.hpp"

#include <algorithm>
#include <charconv>
#include <set>
#include <span>
#include <tuple>
#include <unordered_map>

#include "base/decimal.hpp"
#include "base/time.hpp"
#include "mapping/document.hpp"
#include "mapping/er7_results.hpp"
#include "mapping/given.hpp"
#include "mapping/instances.hpp"
#include "mapping/likeness.hpp"
#include "record/leaf.hpp"
#include "record/missing.hpp"
#include "record/write.hpp"
#include "syntax/er7.hpp"
#include "syntax/er7_groups.hpp"
#include "syntax/json.hpp"

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using record::FindingId;
using record::Form;
using record::Kind;
using record::Record;
using record::Value;
using syntax::Node;

namespace {

bool depends_on_facet_or_option(const Part& choice) {
  for (const auto& alternative : choice.parts) {
    for (const auto& clause : alternative->when.all) {
      if (clause.has_facet || !clause.option.empty()) return true;
    }
  }
  return false;
}

// The field that a part is about, for messages.
std::string_view about(const Part& part) {
  switch (part.source) {
    case Source::key:
    case Source::uuid:
    case Source::identity_system:
      if (part.kind == Part::Kind::primitive) return "identity";
      break;
    case Source::reference:
      if (part.kind == Part::Kind::primitive) return "reference";
      break;
    default:
      break;
  }
  if (part.kind == Part::Kind::references) return "members";
  if (part.kind == Part::Kind::primitive || part.kind == Part::Kind::typed)
    return record::field(part.accessor.field).path;
  for (const auto& below : part.parts) {
    if (const auto found = about(*below); !found.empty()) return found;
  }
  return {};
}

}  // namespace

// One call of read().
class Reader::Matching {
 public:
  Matching(Reader& reader, Arena& arena, record::Findings& findings, bool of_set = false)
      : of_set_(of_set),
        mapping_(*reader.mapping_),
        options_(reader.options_),
        writer_(reader.writer_),
        arena_(arena),
        findings_(findings),
        taken_(reader.taken_),
        instances_(*reader.mapping_, reader.options_, arena, findings, reader.unread_) {
    name_reference_ = mapping_.names().find("reference");
    precision_url_ = mapping_.canonical() + "/StructureDefinition/charted-precision";
  }

  void run(std::vector<Resource>& resources, std::vector<Record>& records) {
    instances_.gather(resources);
    for (auto& visit : instances_.visits()) read_visit(visit);
    for (auto& visit : instances_.visits()) {
      findings_.set_record_key(visit.record_key);
      record::report_missing(visit.record, findings_);
      verify_visit(visit);
    }
    for (auto& instance : instances_.all()) report_rest(instance);
    for (auto& visit : instances_.visits()) records.push_back(visit.record);
  }

 private:
  // Whether a reference that has no URL names by identifier what the expected one leads to; its members are
  // marked.
  bool same_target(std::string_view expected, Node& reference, bool beside_identifier = false) const {
    const Instance* target = planned_target(expected);
    if (target == nullptr || !instances_.is_identified(reference, *target)) return false;
    if (Node* type = reference.member("type")) type->used = true;
    if (!beside_identifier) use_all(*reference.member("identifier"));
    return true;
  }

  // --- homes
  // -----------------------------------------------------------------------------------------------------

  void read_visit(Visit& visit) {
    told_labels_.clear();
    const auto mark = findings_.all().size();
    visit.record.root = record::make_group(arena_, record::field(FieldId::visit));
    visit.record.root->offset = beginning_of(*visit.panel->resource->node);
    visit.record.file = visit.panel->resource->file;
    visit.record.line = visit.panel->resource->line;
    Value* format = record::make_leaf(arena_, Kind::text, "wound-visit/1");
    visit.record.root->children[record::field(FieldId::format).slot] = format;
    // Lists come back in the order of their indexes, whatever order the instances stand in.
    std::stable_sort(visit.members.begin(), visit.members.end(), [](const Instance* a, const Instance* b) {
      const bool a_loop = a->made_from->has_loop, b_loop = b->made_from->has_loop;
      if (a_loop != b_loop) return !a_loop;
      if (!a_loop) return false;
      if (a->made_from->loop.field != b->made_from->loop.field)
        return a->made_from->loop.field < b->made_from->loop.field;
      return a->index < b->index;
    });
    if (!visit.ours) read_visit_of_others(visit);
    // Instances that are copies as a whole look at what the others brought.
    for (Instance* instance : visit.members) {
      if (!is_copy(*instance->made_from)) match_instance(*instance, visit);
    }
    for (Instance* instance : visit.members) {
      if (is_copy(*instance->made_from)) match_instance(*instance, visit);
    }
    for (Instance* instance : visit.shared) {
      if (visit.ours)
        match_instance(*instance, visit);
      else if (instance->elsewhere != nullptr)
        match_sayings(*instance->elsewhere, *instance, visit);
    }
    if (!visit.ours) infer(visit);
    if (mapping_.is_document()) complete(visit, mark);
  }

  // --- a site's document
  // ---------------------------------------------------------------------------------------------

  // What the layout implies; and the record's key, which only now is known.
  void complete(Visit& visit, std::size_t mark) {
    for (const auto& given : mapping_.layout().given) {
      visit_given(visit.record.root, given.field, [&](Value* group, const Field& field, const std::string&) {
        if (group == nullptr) {
          Value*& place = visit.record.root->children[record::field(field.parent).slot];
          place = group = record::make_group(arena_, record::field(field.parent));
        }
        Value*& value = group->children[field.slot];
        if (value == nullptr) value = record::make_leaf(arena_, field.kind, {});
        writer_.facets().set(*value, Facet::self, given.text, arena_, nullptr);
        take(nullptr, value, given.place);
      });
    }
    instance_ = visit.panel;
    for (const auto& one : mapping_.layout().inferred) infer(one, visit);
    check_quantities(*visit.record.root, record::field(FieldId::visit));
    name_record(visit);
    findings_.name_since(mark, visit.record_key);
  }

  // The lists on the way to the record of a document and the element of each, as far as they are there.
  template <class Use>
  void each_on_way(const Node& document, Use use) const {
    const Node* at = &document;
    for (const auto& step : mapping_.layout().records) {
      const Node* list = at->is_object() ? at->member(step) : nullptr;
      at = list != nullptr && list->is_array() ? list->first : list;
      if (at == nullptr) return;
      use(*list, *at);
    }
  }

  // Where the element begins that the record is; an instance is its own.
  std::uint32_t beginning_of(const Node& document) const {
    auto begin = document.begin;
    each_on_way(document, [&](const Node&, const Node& element) { begin = element.begin; });
    return begin;
  }

  // Findings about a record that has no id must not hold back those beside it.
  void name_record(Visit& visit) {
    const auto& all = instances_.visits();
    if (all.size() > 1 && visit.record.text(FieldId::id).empty()) {
      const auto place =
          std::find_if(all.begin(), all.end(), [&](const Visit& one) { return &one == &visit; });
      visit.record.stand_in =
          arena_.keep("(record " + std::to_string(std::distance(all.begin(), place) + 1) + ")");
    }
    visit.record_key = visit.record.name();
  }

  // What a record cannot do without and the layout's documents may leave out; it is told from what it was
  // taken.
  void infer(const Layout::Inferred& one, Visit& visit) {
    if (visit.record.at(one.field) != nullptr) return;
    std::string text = one.text, names;
    for (const auto from : one.from) {
      const Value* value = visit.record.at(from);
      if (value == nullptr || !value->is_leaf() || value->text.empty()) return;
      text.append(text.empty() ? "" : "/").append(value->text);
      names.append(names.empty() ? "" : ", ").append(record::field(from).path);
    }
    Value* at = visit.record.root;
    std::vector<FieldId> way;
    for (auto id = record::field(one.field).parent; id != FieldId::visit; id = record::field(id).parent)
      way.insert(way.begin(), id);
    for (const auto id : way) {
      Value*& below = at->children[record::field(id).slot];
      if (below == nullptr) below = record::make_group(arena_, record::field(id));
      if (below->form != Form::group) return;
      at = below;
    }
    const Field& field = record::field(one.field);
    Value*& value = at->children[field.slot];
    if (value == nullptr) value = record::make_leaf(arena_, field.kind, {});
    writer_.facets().set(*value, Facet::self, arena_.keep(text), arena_, nullptr);
    value->offset = visit.record.root->offset;
    take(nullptr, value, one.place);
    report(FindingId::visit_inferred, *visit.panel->resource, visit.panel->resource->node,
           {field.path, names.empty() ? std::string_view{text} : std::string_view{names}});
  }

  // A number without its unit, or a unit without a number.
  void check_quantities(const Value& group, const Field& shape) {
    for (auto id = shape.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
      const Field& member = record::field(id);
      const Value* value = group.children[member.slot];
      if (value == nullptr) continue;
      const std::uint32_t count = value->form == Form::list ? value->count : 1;
      for (std::uint32_t i = 0; i < count; ++i) {
        const Value& one = value->form == Form::list ? *value->children[i] : *value;
        if (one.form == Form::group) check_quantities(one, member);
        if (!one.is_leaf() || one.quantity == nullptr || member.kind != Kind::quantity) continue;
        const auto& quantity = *one.quantity;
        if (quantity.unit.empty())
          findings_.report(FindingId::unit_missing, member.path, one.offset, {quantity.value});
        if (quantity.value.empty())
          findings_.report(FindingId::field_empty, member.path, one.offset, {"a unit without a value"});
      }
    }
  }

  // --- what others wrote
  // ---------------------------------------------------------------------------------------------

  // What each instance says of its visit: status, time, patient, wound. The first to say it is believed;
  // another that says something else is not understood there, and that is told.
  void read_visit_of_others(Visit& visit) {
    for (const auto number : mapping_.elsewhere().key) {
      const Template& key = mapping_.templates()[number - 1];
      if (visit.panel->type == key.resource_type) match_sayings(key, *visit.panel, visit);
    }
    for (const auto number : mapping_.elsewhere().visit) {
      const Template& sayings = mapping_.templates()[number - 1];
      if (visit.panel->type == sayings.resource_type) match_sayings(sayings, *visit.panel, visit);
      for (Instance* instance : visit.members) {
        if (instance != visit.panel && instance->type == sayings.resource_type)
          match_sayings(sayings, *instance, visit);
      }
    }
    name_record(visit);
    findings_.set_record_key(visit.record_key);
    instance_ = visit.panel;
    for (const Instance* other : visit.of_another_patient)
      report(FindingId::visit_two_patients, *other->resource, other->resource->node, {other->type});
  }

  void match_sayings(const Template& sayings, Instance& instance, Visit& visit) {
    instance_ = &instance;
    yielding_ = true;
    Scope scope;
    scope.level[0] = visit.record.root;
    match(*sayings.body, *instance.resource->node, nullptr, scope);
    yielding_ = false;
  }

  // What a record cannot do without and nobody said: that a visit with findings was an assessment.
  void infer(Visit& visit) {
    instance_ = visit.panel;
    Scope scope;
    scope.level[0] = visit.record.root;
    for (const auto number : mapping_.elsewhere().visit) {
      const Template& sayings = mapping_.templates()[number - 1];
      const bool some = std::any_of(visit.members.begin(), visit.members.end(), [&](const Instance* member) {
        return member->type == sayings.resource_type;
      });
      if (!some) continue;
      for (const auto& setting : sayings.sets) {
        if (follow(setting.accessor, scope) != nullptr) continue;
        make(setting, scope, sayings.place);
        report(FindingId::visit_inferred, *visit.panel->resource, visit.panel->resource->node,
               {record::field(setting.accessor.field).path, setting.word});
      }
    }
  }

  bool make(const Setting& setting, const Scope& scope, const Place& place) {
    Value* value = ensure(setting.accessor, scope);
    if (value == nullptr || !writer_.facets().set(*value, Facet::self, setting.word, arena_, nullptr))
      return false;
    take(nullptr, value, place);
    return true;
  }

  // For whoever asks where values come from.
  void take(const Node* node, const Value* value, const Place& place, const SiteWords* words = nullptr,
            const SiteWord* word = nullptr) {
    if (taken_ != nullptr) taken_->push_back({node, value, place, words, word});
  }

  void match_one_way(Instance& instance, Visit& visit, Scope& scope) {
    const Template& made_from = *instance.made_from;
    Node& node = *instance.resource->node;
    Value* made = nullptr;
    if (made_from.has_loop) {
      instance.element = element_for(instance, visit);
      if (instance.element == nullptr) made = instance.element = blank(record::field(made_from.loop.field));
      scope.level[1] = instance.element;
    }
    match(*made_from.body, node, nullptr, scope);
    for (const auto& setting : made_from.sets) {
      if (!make(setting, scope, made_from.place))
        report(FindingId::home_conflict, *instance.resource, &node, {});
    }
    if (made != nullptr) attach(instance, made_from.loop, made, scope);
  }

  // Several instances may bring one element of a list: an assertion that refers to its findings, or one
  // finding of each kind. Where that is not certain the element stays alone, and that is told.
  Value* element_for(const Instance& instance, const Visit& visit) {
    const auto alike = [&](const Instance& other) {
      return other.element != nullptr && other.made_from->one_way &&
             same_settings(*other.made_from, *instance.made_from);
    };
    Value* found = nullptr;
    std::size_t candidates = 0;
    for (const Instance* other : visit.members) {
      if (other == &instance || !alike(*other)) continue;
      if (instances_.refers_to(*other, instance) && other->type != instance.type) return other->element;
      const bool taken = std::any_of(visit.members.begin(), visit.members.end(), [&](const Instance* one) {
        return one->element == other->element &&
               (one->made_from == instance.made_from || one->type != instance.type);
      });
      if (taken || other->element == found) continue;
      found = other->element;
      ++candidates;
    }
    const auto twins = std::count_if(visit.members.begin(), visit.members.end(), [&](const Instance* one) {
      return one->made_from == instance.made_from;
    });
    if (candidates == 1 && twins == 1) return found;
    if (candidates > 0) report(FindingId::list_unpaired, *instance.resource, instance.resource->node, {});
    return nullptr;
  }

  static bool same_settings(const Template& a, const Template& b) {
    return a.has_loop && b.has_loop && a.loop.field == b.loop.field &&
           std::equal(a.sets.begin(), a.sets.end(), b.sets.begin(), b.sets.end(),
                      [](const Setting& x, const Setting& y) {
                        return x.accessor.field == y.accessor.field && x.word == y.word;
                      });
  }

  // A part of the instance at hand that is compared when its record is complete.
  void put_aside(const Copy& copy) { instance_->copies.add(*arena_.make<Copy>(copy)); }

  static bool is_copy(const Template& made_from) { return made_from.body->pure_mirror; }

  void match_instance(Instance& instance, Visit& visit) {
    instance_ = &instance;
    findings_.set_record_key(visit.record_key);
    Scope scope;
    scope.level[0] = visit.record.root;
    const Template& made_from = *instance.made_from;
    Node& node = *instance.resource->node;
    if (made_from.one_way) {
      match_one_way(instance, visit, scope);
    } else if (!made_from.has_loop) {
      match_members(*made_from.body, node, scope);
    } else if (made_from.lifetime != Lifetime::visit) {
      // A shared resource serves every element that refers to it: one Practitioner, perhaps in two roles.
      for (Value* element : referring_elements(instance, visit)) {
        scope.level[1] = instance.element = element;
        match_members(*made_from.body, node, scope);
      }
    } else if (is_copy(made_from)) {
      scope.level[1] = instance.element = element_at(made_from.loop, instance.index, visit);
      if (instance.element == nullptr) return;
      scope.index[1] = instance.index;
      match_members(*made_from.body, node, scope);
    } else {
      scope.level[1] = instance.element = blank(record::field(made_from.loop.field));
      scope.index[1] = instance.index;
      match_members(*made_from.body, node, scope);
      attach(instance, made_from.loop, instance.element, scope);
    }
    node.used = true;
  }

  Value* element_at(const Accessor& accessor, std::uint32_t index, const Visit& visit) const {
    const Value* list = follow(accessor, Scope{{visit.record.root}, {}, nullptr});
    return list != nullptr && list->form == Form::list && index < list->count ? list->children[index]
                                                                              : nullptr;
  }

  // The performers that refer to this Practitioner.
  std::vector<Value*> referring_elements(const Instance& instance, const Visit& visit) const {
    std::vector<Value*> elements;
    const Value* list = follow(instance.made_from->loop, Scope{{visit.record.root}, {}, nullptr});
    if (list == nullptr || list->form != Form::list) return elements;
    for (std::uint32_t i = 0; i < list->count; ++i) {
      const bool refers = std::any_of(referred_.begin(), referred_.end(), [&](const auto& one) {
        return one.first == list->children[i] && one.second == &instance;
      });
      if (refers) elements.push_back(list->children[i]);
    }
    return elements;
  }

  // An element that says nothing yet.
  Value* blank(const Field& field) {
    if (field.is_group()) return record::make_group(arena_, field);
    return record::make_leaf(arena_, field.kind, {});
  }

  static bool says_nothing(const Value& value) {
    if (value.form == Form::group) {
      for (std::uint32_t i = 0; i < value.count; ++i) {
        if (value.children[i] != nullptr) return false;
      }
      return true;
    }
    return value.form == Form::leaf && value.text.empty() && value.code == nullptr &&
           value.quantity == nullptr;
  }

  void attach(const Instance& instance, const Accessor& list, Value* element, const Scope& scope) {
    const Node* node = instance.resource->node;
    Value* parent = list_parent(list, scope);
    if (parent == nullptr) {
      report(FindingId::home_conflict, *instance.resource, node, {});
      return;
    }
    if (!instance.ours && says_nothing(*element)) return;
    Value*& place = parent->children[list.slots[list.steps - 1]];
    if (element->form == Form::none || element->form == Form::absent) {
      if (place != nullptr)
        report(FindingId::home_conflict, *instance.resource, node, {});
      else
        place = element;
      return;
    }
    if (place != nullptr && place->form != Form::list) {
      report(FindingId::home_conflict, *instance.resource, node, {});
      return;
    }
    const std::uint32_t count = place == nullptr ? 0 : place->count;
    if (instance.keyed) {
      if (!instance.indexed) {
        report(FindingId::condition_differs, *instance.resource, node, {});
        return;
      }
      if (instance.index < count) {
        report(FindingId::instance_twice, *instance.resource, node, {instance.type});
        return;
      }
      if (instance.index > count)
        report(FindingId::list_gap, *instance.resource, node, {std::to_string(count)});
    }
    push(place, element);
    if (place->offset == 0) place->offset = node->begin;
    if (element->offset == 0) element->offset = node->begin;
  }

  Value* list_parent(const Accessor& list, const Scope& scope) {
    Accessor to_parent = list;
    --to_parent.steps;
    return ensure(to_parent, scope);
  }

  void push(Value*& list, Value* element) {
    if (list == nullptr) {
      list = arena_.make<Value>();
      list->form = Form::list;
    }
    // Room grows in powers of two.
    if ((list->count & (list->count - 1)) == 0) {
      Value** row = arena_.make_row<Value*>(list->count == 0 ? 1 : list->count * 2);
      std::copy(list->children, list->children + list->count, row);
      list->children = row;
    }
    list->children[list->count++] = element;
  }

  // The value at the end of an accessor, made on the way where it is not there yet; nullptr where something
  // else is.
  Value* ensure(const Accessor& accessor, const Scope& scope) {
    Value* value = scope.level[accessor.level];
    for (std::uint8_t i = 0; i < accessor.steps; ++i) {
      if (value == nullptr || value->form != Form::group) return nullptr;
      Value*& child = value->children[accessor.slots[i]];
      if (child == nullptr) {
        const Field& field = record::field(accessor.ids[i]);
        child = field.is_group()
                    ? record::make_group(arena_, field)
                    : record::make_leaf(arena_, field.kind == Kind::any ? sets_kind_ : field.kind, {});
      }
      value = child;
    }
    return value;
  }

  Node* find(const Node& object, std::uint32_t name) const { return object.member(name); }

  void match_members(const Part& object, Node& node, const Scope& scope) {
    node.used = true;
    for (const auto& part : object.parts) {
      if (part->kind == Part::Kind::choose) {
        match_choice(*part, node, scope);
      } else {
        match_member(*part, find(node, part->name), node, scope);
      }
    }
  }

  void match_choice(const Part& choice, Node& node, const Scope& scope) {
    int chosen = -1;
    for (std::size_t i = 0; i < choice.parts.size() && chosen < 0; ++i) {
      if (shows_exactly(*choice.parts[i], node)) chosen = static_cast<int>(i);
    }
    for (std::size_t i = 0; i < choice.parts.size() && chosen < 0; ++i) {
      if (shows(*choice.parts[i], node)) chosen = static_cast<int>(i);
    }
    if (!depends_on_facet_or_option(choice)) put_aside({&choice, &node, nullptr, scope, chosen});
    if (chosen < 0) return;
    const Part& alternative = *choice.parts[static_cast<std::size_t>(chosen)];
    for (const auto& clause : alternative.when.all) {
      if (clause.option == "--refs" && instance_->visit != nullptr)
        instance_->visit->refs = clause.any.front().text;
    }
    if (alternative.kind == Part::Kind::constant) {
      for (const Node* at = alternative.constant->first; at != nullptr; at = at->next) {
        match_constant(*at, *node.member(at->name_text));
      }
    } else {
      match_members(alternative, node, scope);
    }
  }

  // "meta": { "security": ["{labels}"] } and what is in it.
  static bool holds_labels(const Part& part) {
    return part.kind == Part::Kind::labels || (part.parts.size() == 1 && holds_labels(*part.parts.front()));
  }
  void match_labels(Node& node) {
    node.used = true;
    Node* security = node.member("security");
    if (security == nullptr) return;
    security->used = true;
    for (Node* at = security->first; at != nullptr; at = at->next) {
      const auto label = label_of(*at);
      if (label.empty()) continue;
      use_all(*at);
      tell_label(label, *at);
    }
  }

  void match_member(const Part& part, Node* member, Node& parent, const Scope& scope) {
    if (part.kind == Part::Kind::constant) {
      if (member != nullptr)
        match_constant(part, *member);
      else if (instance_->ours) {
        report(FindingId::constant_missing, *instance_->resource, &parent,
               {mapping_.names().text(part.name)});
      }
      return;
    }
    if (part.kind == Part::Kind::primitive && part.source == Source::resource_id) {
      if (member != nullptr) member->used = true;
      return;
    }
    if (part.pure_mirror && holds_labels(part)) {
      if (member != nullptr) match_labels(*member);
      return;
    }
    if (part.pure_mirror) {
      put_aside({&part, member, &parent, scope});
      if (member != nullptr && part.kind == Part::Kind::primitive && part.source == Source::reference)
        note_reference(*member, scope);
      return;
    }
    if (member != nullptr) {
      match(part, *member, &parent, scope);
    } else if (part.is_fixed && is_unit_system(part, parent)) {
      report(FindingId::unit_not_coded, *instance_->resource, &parent, {});
    } else if (part.is_fixed) {
      report(FindingId::constant_missing, *instance_->resource, &parent, {mapping_.names().text(part.name)});
    } else if (part.always && instance_->ours) {
      report(FindingId::constant_missing, *instance_->resource, &parent, {mapping_.names().text(part.name)});
    } else if (instance_->ours && part.refers) {
      // What would stand in it may be known from the resource that it refers to.
      put_aside({&part, nullptr, &parent, scope});
    }
  }

  // A performer's reference leads to the Practitioner that holds its keys.
  void note_reference(const Node& member, const Scope& scope) {
    const Instance* target = instances_.resolve(member.text, instance_);
    if (target == nullptr) return;
    for (const auto* level : scope.level) {
      if (level != nullptr && level != scope.level[0]) referred_.push_back({level, target});
    }
  }

  void match_constant(const Part& part, Node& node) {
    if (bytes(node) == part.json)
      use_all(node);
    else
      match_constant(*part.constant, node);
  }

  // Equal parts of a constant are understood; others stay and are reported.
  void match_constant(const Node& constant, Node& node) {
    if (constant.kind != node.kind) return;
    if (constant.is_object()) {
      node.used = true;
      for (const Node* at = constant.first; at != nullptr; at = at->next) {
        if (Node* other = node.member(at->name_text))
          match_constant(*at, *other);
        else if (instance_->ours)
          report(FindingId::constant_missing, *instance_->resource, &node, {at->name_text});
      }
      return;
    }
    if (constant.is_array()) {
      node.used = true;
      for (const Node* at = constant.first; at != nullptr; at = at->next) {
        Node* found = nullptr;
        for (Node* other = node.first; other != nullptr && found == nullptr; other = other->next) {
          // What stands around the records of one document is read by each of them.
          if ((!other->used || mapping_.is_document()) && resembles(*at, *other)) found = other;
        }
        if (found != nullptr)
          match_constant(*at, *found);
        else if (instance_->ours)
          report(FindingId::constant_missing, *instance_->resource, &node, {"an item"});
      }
      return;
    }
    if (constant.text == node.text) node.used = true;
  }

  void match(const Part& part, Node& node, Node* parent, const Scope& scope) {
    switch (part.kind) {
      case Part::Kind::object:
        if (node.is_object())
          match_members(part, node, scope);
        else
          wrong_type(node, "object");
        return;
      case Part::Kind::array:
        if (node.is_array())
          match_items(part, node, scope);
        else
          wrong_type(node, "list");
        return;
      case Part::Kind::typed: {
        const Kind outer = sets_kind_;
        if (part.has_sets_kind) sets_kind_ = part.sets_kind;
        match(*part.parts.front(), node, parent, scope);
        sets_kind_ = outer;
        return;
      }
      case Part::Kind::primitive:
        read_primitive(part, node, parent, scope);
        return;
      case Part::Kind::text:
        read_text(part, node, scope);
        return;
      case Part::Kind::constant:
        match_constant(part, node);
        return;
      default:
        return;
    }
  }

  void wrong_type(const Node& node, std::string_view wanted) {
    report(FindingId::value_kind, *instance_->resource, &node, {wanted});
  }

  // What was meant for a number or a time as it stands; other texts may name somebody.
  static std::string_view shown(const Part& part, std::string_view text) {
    switch (record::field(part.accessor.field).kind) {
      case Kind::quantity:
      case Kind::percent:
      case Kind::decimal:
      case Kind::count:
      case Kind::time:
      case Kind::clocktime:
        if (text.size() > 40 || text.find_first_not_of("0123456789.,:+-<>~ eETZ") != std::string_view::npos)
          break;
        return text;
      default:
        break;
    }
    return "(text not shown)";
  }

  void match_items(const Part& array, Node& node, const Scope& scope) {
    node.used = true;
    Node* few[16];
    std::vector<Node*> many;
    std::span<Node*> open(few, std::min<std::size_t>(node.count, std::size(few)));
    if (node.count > std::size(few)) {
      many.resize(node.count);
      open = many;
    }
    auto place_of_item = open.begin();
    for (Node* at = node.first; at != nullptr; at = at->next) *place_of_item++ = at;
    const auto claim = [&](Node*& item) { return std::exchange(item, nullptr); };
    // Items with a constant of their own first.
    for (const auto& part : array.parts) {
      if (!part->discriminates) continue;
      const bool loop = part->kind == Part::Kind::loop;
      const Part& body = loop ? *part->parts.front() : *part;
      bool found = false;
      for (auto& item : open) {
        if (item == nullptr || !accepts(body, *item)) continue;
        found = true;
        if (loop) {
          match_element(*part, *claim(item), scope);
          continue;
        }
        if (part->kind == Part::Kind::constant)
          match_constant(*part, *claim(item));
        else if (part->pure_mirror)
          put_aside({part, claim(item), &node, scope});
        else
          match(*part, *claim(item), nullptr, scope);
        break;
      }
      // An item that stands even when there is nothing to say is missed like a copy.
      const bool expected = part->pure_mirror || (part->always && !part->one_way && !loop && instance_->ours);
      if (!found && expected && part->kind != Part::Kind::constant) put_aside({part, nullptr, &node, scope});
      if (!found && part->kind == Part::Kind::constant && instance_->ours) {
        report(FindingId::constant_missing, *instance_->resource, &node, {"an item"});
      }
    }
    // Then copies that only their content tells: the homes beside them are known by now.
    for (const auto& part : array.parts) {
      if (part->discriminates || !part->pure_mirror) continue;
      scratch_.clear();
      static const Planned nobody;
      const bool expected = writer_.render(*part, scope, nobody, scratch_);
      if (!expected) continue;
      bool found = false;
      for (auto& item : open) {
        if (item == nullptr) continue;
        if (bytes(*item) != scratch_ && !says(*item, scratch_)) continue;
        use_all(*claim(item));
        found = true;
        break;
      }
      if (found || !instance_->ours) continue;
      // What stands in its place, and is nothing else, is the copy with a change.
      const auto place = static_cast<std::size_t>(&part - array.parts.data());
      if (place < open.size() && open[place] != nullptr) {
        report(FindingId::mirror_differs, *instance_->resource, open[place], {about(*part)});
        use_all(*claim(open[place]));
      } else {
        report(FindingId::mirror_missing, *instance_->resource, &node, {about(*part)});
      }
    }
    for (const auto& part : array.parts) {
      if (part->discriminates || part->pure_mirror) continue;
      const bool loop = part->kind == Part::Kind::loop;
      const Part& body = loop ? *part->parts.front() : *part;
      Node** best = nullptr;
      for (auto& item : open) {
        if (item == nullptr || !accepts(body, *item)) continue;
        if (loop) {
          match_element(*part, *claim(item), scope);
        } else if (part->first_of_many && !shows(body, *item)) {
          continue;  // such as an identifier that says that there is none
        } else if (best == nullptr || (!shows_fixed(body, **best) && shows_fixed(body, *item))) {
          best = &item;
        }
      }
      if (best != nullptr) match(*part, *claim(*best), nullptr, scope);
    }
    if (mapping_.is_document()) match_left_over(array, node, open, scope);
  }

  // Whether items of other kinds may stand beside it.
  static bool tells_apart(const Part& part) {
    if (part.kind == Part::Kind::primitive) return part.source == Source::fixed || part.known_by_value;
    return part.kind == Part::Kind::choose || part.discriminates ||
           std::any_of(part.parts.begin(), part.parts.end(),
                       [](const auto& below) { return tells_apart(*below); });
  }

  // Whether a list is on the way to the records of a document: then each of its items is of that kind.
  bool leads_to_records(const Node& list) const {
    bool leads = false;
    each_on_way(*instance_->resource->node,
                [&](const Node& one, const Node&) { leads = leads || &one == &list; });
    return leads;
  }

  // Of a site's layout: what has the shape of an item that stands once, but stands once more; and what is
  // left in a list of one kind of elements, which has a fault that reading it tells.
  void match_left_over(const Part& array, Node& node, std::span<Node* const> open, const Scope& scope) {
    if (std::all_of(open.begin(), open.end(), [](const Node* item) { return item == nullptr; })) return;
    const bool alone = array.parts.size() == 1 && !tells_apart(*array.parts.front());
    const auto stands_once = [&](const Part& part, const Node& item) {
      return (part.discriminates || alone) && part.kind != Part::Kind::loop &&
             part.kind != Part::Kind::constant && !part.first_of_many && accepts(part, item);
    };
    const bool one_kind = alone && array.parts.front()->kind == Part::Kind::loop &&
                          array.parts.front()->parts.front()->kind == Part::Kind::object;
    const bool of_records =
        array.parts.size() == 1 && array.parts.front()->kind == Part::Kind::object && leads_to_records(node);
    for (Node* item : open) {
      if (item == nullptr) continue;
      if (of_records && item->is_object()) {
        match(*array.parts.front(), *item, nullptr, scope);
        continue;
      }
      const bool again = std::any_of(array.parts.begin(), array.parts.end(),
                                     [&](const auto& part) { return stands_once(*part, *item); });
      if (again) {
        bool is_same = false;
        for (const Node* at = node.first; at != nullptr && !is_same; at = at->next)
          is_same = at != item && at->used && equal(*at, *item);
        if (!is_same) report(FindingId::home_conflict, *instance_->resource, item, {});
        use_all(*item);
      } else if (one_kind && item->is_object()) {
        match_element(*array.parts.front(), *item, scope);
      } else if (one_kind) {
        wrong_type(*item, "object");
      }
    }
  }

  // The code of a security label that a run can set, which says something of the resource and nothing of the
  // visit; empty for any other coding.
  std::string_view label_of(const Node& coding) const {
    for (const auto& [name, standard] : mapping_.terms().standards()) {
      if (standard.use == "label" && standard.code == plain_text(coding.member("code")) &&
          standard.system == plain_text(coding.member("system")))
        return standard.code;
    }
    return {};
  }

  // Records have no place for a label: one that this run does not set anew is told, once a record.
  void tell_label(std::string_view label, const Node& coding) {
    const auto& set = options_.labels;
    if (std::find(set.begin(), set.end(), label) != set.end() || !told_labels_.insert(label).second) return;
    report(FindingId::instance_label, *instance_->resource, &coding, {label});
  }

  void match_element(const Part& loop, Node& item, const Scope& scope) {
    Scope inside = scope;
    const Part& body = *loop.parts.front();
    if (loop.also_loop) {
      Value* leaf = ensure(loop.accessor, scope);
      if (leaf == nullptr || leaf->form != Form::leaf) return;
      if (leaf->code == nullptr) leaf->code = arena_.make<record::Code>();
      // The record under construction owns its codes.
      auto& code = const_cast<record::Code&>(*leaf->code);
      auto* row = arena_.make_row<record::Coding>(code.also_count + 1);
      std::copy(code.also, code.also + code.also_count, row);
      inside.coding = &row[code.also_count];
      code.also = row;
      ++code.also_count;
      match(body, item, nullptr, inside);
      return;
    }
    const Field& field = record::field(loop.accessor.field);
    Value* element = blank(field);
    inside.level[loop.loop_level] = element;
    Value* parent = list_parent(loop.accessor, scope);
    if (parent == nullptr) return;
    Value*& list = parent->children[loop.accessor.slots[loop.accessor.steps - 1]];
    if (list != nullptr && list->form != Form::list) {
      report(FindingId::home_conflict, *instance_->resource, &item, {});
      return;
    }
    inside.index[loop.loop_level] = list == nullptr ? 0 : list->count;
    match(body, item, nullptr, inside);
    if (mapping_.is_document()) {
      // A cell may say that there is none; one that nobody could read says nothing.
      if (says_nothing(*element)) return;
      if (element->form == Form::none || element->form == Form::absent) {
        if (list == nullptr)
          list = element;
        else
          report(FindingId::home_conflict, *instance_->resource, &item, {});
        return;
      }
    }
    if (yielding_ && list != nullptr && begun_by_[list] != instance_) {
      // Another instance has said this list already: here it is a copy.
      const auto text = [&](const Value& value) {
        std::string written;
        record::write_value(field, value, written);
        return written;
      };
      const bool known = std::any_of(list->children, list->children + list->count,
                                     [&](const Value* one) { return text(*one) == text(*element); });
      if (!known) item.used = false;
      return;
    }
    push(list, element);
    if (list->offset == 0) list->offset = item.begin;
    if (element->offset == 0) element->offset = item.begin;
    if (yielding_) begun_by_[list] = instance_;
  }

  std::string_view bytes(const Node& node) const {
    return instance_->resource->bytes.substr(node.begin, node.end - node.begin);
  }

  // Whether a node says what this JSON says.
  bool says(const Node& node, std::string_view json) {
    auto tree = syntax::read_json(json, compare_arena_, mapping_.names());
    const bool same = tree && equal(**tree, node);
    compare_arena_.reset();
    return same;
  }

  void read_primitive(const Part& part, Node& node, Node* parent, const Scope& scope) {
    static constexpr std::string_view shapes[] = {"string", "number", "boolean"};
    const bool right = part.shape == Shape::string   ? node.is_string()
                       : part.shape == Shape::number ? node.kind == syntax::NodeKind::number
                                                     : node.kind == syntax::NodeKind::boolean;
    if (!right) {
      node.used = true;
      return wrong_type(node, shapes[static_cast<std::size_t>(part.shape)]);
    }
    if (part.facet == Facet::precision) {
      node.used = node.text == "minute";
      return;
    }
    if (part.source == Source::fixed) {
      node.used = accepts(part, node);
      if (!part.literal.empty()) report(FindingId::not_carried, *instance_->resource, &node, {part.literal});
      if (node.used && node.text != part.allowed.front() && (part.tells_any || !part.takes_any)) {
        report(FindingId::read_alike, *instance_->resource, &node, {node.text, part.allowed.front()});
      }
      return;
    }
    std::string_view text = node.text;
    if (part.spelling.any()) {
      node.used = read_spelled(part, text, node, scope);
      return;
    }
    switch (part.render) {
      case Render::date_time: {
        std::string charted;
        if (!append_charted_time(text, has_minute_mark(part, parent), charted)) {
          report(FindingId::time_form, *instance_->resource, &node,
                 {shown(part, text), "not a FHIR dateTime as its precision says"});
          return;
        }
        text = charted.size() == text.size() ? text : arena_.keep(charted);
        break;
      }
      case Render::time_of_day:
        if (!text.ends_with(":00") || !is_clocktime(text.substr(0, text.size() - 3))) {
          report(FindingId::clocktime_form, *instance_->resource, &node, {shown(part, text)});
          return;
        }
        text.remove_suffix(3);
        break;
      default:
        break;
    }
    if (!part.allowed.empty() &&
        std::find(part.allowed.begin(), part.allowed.end(), text) == part.allowed.end())
      return;
    if (text.empty()) return;
    // What the record could not hold is left where it is, and said.
    const Kind kind = part.has_sets_kind ? part.sets_kind : record::field(part.accessor.field).kind;
    const bool is_leaf_text = part.facet == Facet::self || part.facet == Facet::number;
    if (is_leaf_text && !part.also_loop && kind != Kind::code && kind != Kind::word && kind != Kind::any) {
      if (const auto fault = record::leaf_fault(kind, text); fault != FindingId::count) {
        report(fault, *instance_->resource, &node, {shown(part, text), "see the field's kind"});
        return;
      }
    }
    if (mapping_.is_document() && is_leaf_text && part.domain != nullptr &&
        (kind == Kind::code || kind == Kind::word) && part.domain->find(text) == nullptr) {
      report(FindingId::code_unknown_word, *instance_->resource, &node, {text, part.domain->name, ""});
      return;
    }
    node.used = true;
    if (part.source == Source::identity_system && text == options_.name_space) return;
    if (!set(part, text, node, scope)) node.used = false;
  }

  // A cell in a site's own spelling. False, and the reason told, when it cannot be understood.
  bool read_spelled(const Part& part, std::string_view cell, const Node& node, const Scope& scope) {
    const Spelling& spelling = part.spelling;
    std::string_view text = cell;
    const auto refuse = [&](FindingId id, std::initializer_list<std::string_view> values) {
      report(id, *instance_->resource, &node, values);
      return false;
    };
    if (cell.empty()) return false;
    const Field& field = record::field(part.accessor.field);
    const Kind kind = part.has_sets_kind ? part.sets_kind : field.kind;
    const SiteWord* row = nullptr;
    if (spelling.words != nullptr) {
      row = spelling.words->reading(cell);
      if (row == nullptr) {
        constexpr std::size_t shown = 60;  // of a cell that may be long
        report(FindingId::cell_unknown, *instance_->resource, &node,
               {cell.substr(0, shown), spelling.words->name()});
        if (kind != Kind::code || part.facet != Facet::self) return false;
        return set(part, Facet::text, cell, node, scope);
      }
      if (row->none) return set(part, Facet::none, "none", node, scope, row);
      const SiteWord* back = row->absent.empty() ? spelling.words->writing(row->means)
                                                 : spelling.words->writing_absent(row->absent);
      if (back != nullptr && back->cell != cell)
        report(FindingId::read_alike, *instance_->resource, &node, {cell, back->cell});
      if (!row->absent.empty()) return set(part, Facet::absent, row->absent, node, scope, row);
      text = row->means;
    }
    if (spelling.time != nullptr) {
      std::string charted;
      switch (spelling.time->read(text, charted)) {
        case TimeForm::Outcome::good:
          break;
        case TimeForm::Outcome::never:
          return refuse(FindingId::local_time_never, {spelling.time->zone_name()});
        case TimeForm::Outcome::twice:
          return refuse(FindingId::local_time_twice, {spelling.time->zone_name()});
        case TimeForm::Outcome::no_time:
          return refuse(FindingId::local_time_form, {spelling.time->patterns_text()});
      }
      text = arena_.keep(charted);
    }
    if (spelling.is_root) {
      const auto uri = uri_of_root(text);
      if (uri.empty()) return false;
      text = arena_.keep(uri);
    }
    if (spelling.number != nullptr && spelling.number->mark != '.') {
      if (text.find('.') != std::string_view::npos)
        return refuse(FindingId::number_form, {shown(part, cell)});
      std::string number(text);
      std::replace(number.begin(), number.end(), spelling.number->mark, '.');
      text = arena_.keep(number);
    }
    if (part.facet == Facet::value && !is_decimal(text))
      return refuse(FindingId::number_form, {shown(part, cell)});
    const bool is_leaf_text = part.facet == Facet::self || part.facet == Facet::number;
    if (is_leaf_text && kind != Kind::code && kind != Kind::word && kind != Kind::any) {
      if (const auto fault = record::leaf_fault(kind, text); fault != FindingId::count)
        return refuse(fault, {shown(part, cell), "see the field's kind"});
    }
    if (!set(part, part.facet, text, node, scope, row)) return false;
    return spelling.unit.empty() || set(part, Facet::unit, spelling.unit, node, scope);
  }

  // False where the field says something else already, which is told unless the instance yields.
  bool set(const Part& part, std::string_view text, const Node& node, const Scope& scope) {
    return set(part, part.facet, text, node, scope);
  }
  // `word`: the row of a site's table that it was read by.
  bool set(const Part& part, Facet facet, std::string_view text, const Node& node, const Scope& scope,
           const SiteWord* word = nullptr) {
    if (part.also_loop) {
      if (taken_ != nullptr) take(&node, ensure(part.accessor, scope), part.place);
      auto& coding = const_cast<record::Coding&>(*scope.coding);
      if (facet == Facet::system) coding.system = text;
      if (facet == Facet::code) coding.code = text;
      if (facet == Facet::display) coding.display = text;
      return true;
    }
    const Kind outer = sets_kind_;
    if (part.has_sets_kind) sets_kind_ = part.sets_kind;
    Value* value = ensure(part.accessor, scope);
    sets_kind_ = outer;
    if (value == nullptr || !writer_.facets().set(*value, facet, text, arena_, part.domain)) {
      if (!yielding_) report(FindingId::home_conflict, *instance_->resource, &node, {});
      return !yielding_;
    }
    if (value->offset == 0) value->offset = node.begin;
    take(&node, value, part.place, part.spelling.words, word);
    return true;
  }

  // The mark stands on the time's companion: _effectiveDateTime.extension.
  bool has_minute_mark(const Part& part, const Node* parent) const {
    if (parent == nullptr) return false;
    const Node* companion = nullptr;
    const auto name = mapping_.names().text(part.name);
    for (const Node* at = parent->first; at != nullptr; at = at->next) {
      if (at->name_text.size() == name.size() + 1 && at->name_text.front() == '_' &&
          at->name_text.substr(1) == name)
        companion = at;
    }
    const Node* extensions =
        companion == nullptr || !companion->is_object() ? nullptr : companion->member("extension");
    for (const Node* at = extensions == nullptr ? nullptr : extensions->first; at != nullptr; at = at->next) {
      if (at->is_object() && plain_text(at->member("url")) == precision_url_)
        return plain_text(at->member("valueCode")) == "minute";
    }
    return false;
  }

  // Literals must stand; each hole takes what lies up to the next literal.
  void read_text(const Part& part, Node& node, const Scope& scope) {
    if (!node.is_string()) return wrong_type(node, "string");
    std::string_view rest = node.text;
    bool understood = true;
    for (std::size_t i = 0; i < part.parts.size(); ++i) {
      const Part& piece = *part.parts[i];
      if (piece.kind != Part::Kind::primitive) {
        if (!rest.starts_with(piece.literal)) return;
        rest.remove_prefix(piece.literal.size());
        continue;
      }
      std::size_t length = rest.size();
      if (i + 1 < part.parts.size()) length = std::min(rest.find(part.parts[i + 1]->literal), rest.size());
      const auto shown = rest.substr(0, length);
      rest.remove_prefix(length);
      if (shown.empty() || piece.mirror) continue;
      if (piece.spelling.any())
        understood = read_spelled(piece, shown, node, scope) && understood;
      else
        set(piece, piece.render == Render::query ? unescape_query(shown) : shown, node, scope);
    }
    node.used = rest.empty() && understood;
  }

  std::string_view unescape_query(std::string_view text) {
    if (text.find('%') == std::string_view::npos) return text;
    std::string plain;
    for (std::size_t i = 0; i < text.size(); ++i) {
      unsigned byte = 0;
      if (text[i] == '%' && i + 2 < text.size() &&
          std::from_chars(text.data() + i + 1, text.data() + i + 3, byte, 16).ptr == text.data() + i + 3) {
        plain += static_cast<char>(byte);
        i += 2;
      } else {
        plain += text[i];
      }
    }
    return arena_.keep(plain);
  }

  // --- copies
  // ----------------------------------------------------------------------------------------------------

  void verify_visit(Visit& visit) {
    Options as_sent = options_;
    as_sent.refs = visit.refs;
    as_sent.units = "fixed";
    as_sent.pack = "transaction";
    as_sent.stamp.clear();
    writer_.set_options(as_sent);
    const Plan& plan = writer_.plan(visit.record);
    findings_.set_record_key(visit.record_key);
    planned_.clear();
    for (auto& one : rendered_) one.known = false;
    for (Instance* instance : visit.members) {
      instance->planned = instance->made_from->has_loop
                              ? plan.find(instance->made_from->number, instance->element)
                              : plan.find(instance->made_from->number);
      // The answer "none" or the reason of a list is an instance of its own.
      if (instance->planned != nullptr) planned_.emplace(instance->planned->uuid_text(), instance);
    }
    for (Instance* instance : visit.shared) {
      instance->planned = instance->made_from->has_loop
                              ? plan.find(instance->made_from->number, instance->element)
                              : plan.find(instance->made_from->number);
      if (instance->planned != nullptr) planned_.emplace(instance->planned->uuid_text(), instance);
    }
    for (Instance* instance : visit.members) verify(*instance, visit, true);
    // What several visits share says what the first of them knew.
    for (Instance* instance : visit.shared)
      verify(*instance, visit, instances_.visits().size() == 1 && !of_set_);
    for (const auto& planned : plan.instances()) {
      if (!visit.ours || planned.again || planned_.contains(planned.uuid_text())) continue;
      report(FindingId::mirror_missing, *visit.panel->resource, visit.panel->resource->node,
             {planned.made_from->name});
    }
  }

  void verify(Instance& instance, const Visit& visit, bool tell) {
    instance_ = &instance;
    tell_ = tell;
    if (!visit.ours) {
      // Copies are not expected here, but where they agree they are understood.
      Planned nobody;
      nobody.made_from = instance.made_from;
      tell_ = false;
      for (Copy* copy = instance.copies.first; copy != nullptr; copy = copy->next) {
        if (copy->part->kind != Part::Kind::choose)
          compare_copy(*copy, instance.planned == nullptr ? nobody : *instance.planned);
      }
      instance.copies = {};
      tell_ = true;
      return;
    }
    if (instance.planned == nullptr) {
      if (instance.ours || instance.made_from->lifetime != Lifetime::visit) {
        report(FindingId::condition_differs, *instance.resource, instance.resource->node, {});
      }
      instance.copies = {};
      return;
    }
    for (Copy* copy = instance.copies.first; copy != nullptr; copy = copy->next)
      compare_copy(*copy, *instance.planned);
    instance.copies = {};
    verify_entry(instance);
    tell_ = true;
  }

  void compare_copy(Copy& copy, const Planned& planned) {
    const Part& part = *copy.part;
    if (part.kind == Part::Kind::choose) return compare_choice(copy);
    if (part.kind == Part::Kind::primitive) {
      const auto expected = writer_.primitive_text(part, copy.scope, planned);
      if (copy.node == nullptr) {
        // A batch has type and identifier in place of a reference.
        const bool by_identifier = part.source == Source::reference && copy.parent != nullptr &&
                                   copy.parent->member("type") != nullptr &&
                                   same_target(expected, *copy.parent, part.beside_identifier);
        if (!expected.empty() && !by_identifier) missing(copy);
        return;
      }
      if (copy.node->text == expected && copy.node->kind != syntax::NodeKind::object) {
        copy.node->used = true;
      } else if (part.source == Source::reference && same_target(expected, copy.node->text)) {
        copy.node->used = true;
      } else {
        differs(copy);
      }
      return;
    }
    const Rendered& rendered = render(part, copy.scope, planned);
    if (copy.node == nullptr) {
      if (rendered.says) missing(copy);
      return;
    }
    if (!rendered.says) return differs(copy);
    if (bytes(*copy.node) == rendered.bytes) {
      use_all(*copy.node);
      return;
    }
    auto tree = syntax::read_json(rendered.bytes, compare_arena_, mapping_.names());
    const bool same = tree && same_content(**tree, *copy.node);
    compare_arena_.reset();
    if (!same) differs(copy);
  }

  // What a copy should say, until the next call. What all instances of a visit say alike is rendered once.
  struct Rendered {
    bool known = false;
    bool says = false;
    std::string bytes{};
  };
  const Rendered& render(const Part& part, const Scope& scope, const Planned& planned) {
    if (part.shared >= rendered_.size()) rendered_.resize(part.shared + 1);
    Rendered& one = rendered_[part.shared];  // at 0: whatever is not shared
    if (one.known && part.shared != 0) return one;
    one.known = true;
    one.bytes.clear();
    one.says = writer_.render(part, scope, planned, one.bytes);
    return one;
  }

  void compare_choice(const Copy& copy) {
    int expected = -1;
    for (std::size_t i = 0; i < copy.part->parts.size() && expected < 0; ++i) {
      const auto& when = copy.part->parts[i]->when;
      if (when.empty() || holds(when, copy.scope, writer_.options(), writer_.facets()))
        expected = static_cast<int>(i);
    }
    if (expected == copy.alternative) return;
    // The alternative that would be written may say nothing: then nothing is what the instance should show.
    if (copy.alternative < 0 && expected >= 0) {
      const Part& alternative = *copy.part->parts[static_cast<std::size_t>(expected)];
      if (!writer_.says_anything(alternative, copy.scope, *instance_->planned)) return;
    }
    if (!instance_->ours && instance_->made_from->lifetime == Lifetime::visit) return;
    report(FindingId::condition_differs, *instance_->resource, copy.node, {});
  }

  // Compares what should be there with what is; understood parts are marked.
  bool same_content(const Node& expected, Node& node) {
    if (expected.kind != node.kind) return false;
    bool same = true;
    if (expected.is_object()) {
      node.used = true;
      for (const Node* at = expected.first; at != nullptr; at = at->next) {
        Node* other = node.member(at->name_text);
        if (other == nullptr) {
          same = at->name == name_reference_ && at->is_string() && same_target(at->text, node) && same;
        } else if (at->name == name_reference_ && at->is_string() && other->is_string()) {
          if (at->text == other->text || same_target(at->text, other->text))
            other->used = true;
          else
            same = false;
        } else {
          same = same_content(*at, *other) && same;
        }
      }
      return same;
    }
    if (expected.is_array()) {
      node.used = true;
      Node* other = node.first;
      for (const Node* at = expected.first; at != nullptr; at = at->next) {
        if (other == nullptr) return false;
        same = same_content(*at, *other) && same;
        other = other->next;
      }
      return same;
    }
    if (expected.text != node.text) return false;
    node.used = true;
    return true;
  }

  // Whether a reference leads to the instance that the expected one means.
  bool same_target(std::string_view expected, std::string_view actual) const {
    const Instance* target = planned_target(expected);
    return target != nullptr && instances_.resolve(actual, instance_) == target;
  }
  const Instance* planned_target(std::string_view expected) const {
    if (!expected.starts_with("urn:uuid:")) return nullptr;
    const auto planned = planned_.find(expected.substr(9));
    return planned == planned_.end() ? nullptr : planned->second;
  }

  void missing(const Copy& copy) {
    if (!instance_->ours && instance_->made_from->lifetime == Lifetime::visit) return;
    if (tell_) report(FindingId::mirror_missing, *instance_->resource, copy.parent, {about(*copy.part)});
  }

  void differs(const Copy& copy) {
    // Somebody else's identifiers and references are not copies of ours.
    if (!instance_->ours && instance_->made_from->lifetime == Lifetime::visit) return;
    if (tell_) {
      report(FindingId::mirror_differs, *instance_->resource, copy.node, {about(*copy.part)});
      use_all(*copy.node);
    }
  }

  void verify_entry(Instance& instance) {
    Node* entry = instance.resource->entry;
    if (entry == nullptr || instance.planned == nullptr || instance.resource->container != nullptr) return;
    if (Node* url = entry->member("fullUrl")) {
      // A server gives its own URL; a urn:uuid is ours.
      const bool given = url->text.starts_with("http://") || url->text.starts_with("https://");
      const bool same =
          url->text.starts_with("urn:uuid:") && url->text.substr(9) == instance.planned->uuid_text();
      if (!given && !same && !instance.planned->again && tell_) {
        report(FindingId::mirror_differs, *instance.resource, url, {"identity"});
      }
      url->used = true;
    } else if (tell_ && (instance.ours || instance.made_from->lifetime != Lifetime::visit)) {
      report(FindingId::constant_missing, *instance.resource, entry, {"fullUrl"});
    }
    if (entry->member("request") == nullptr && instances_.is_transaction() && tell_) {
      report(FindingId::constant_missing, *instance.resource, entry, {"request"});
    }
    if (Node* request = entry->member("request")) {
      // The sender may have chosen any of these (--on-repeat).
      const auto asks = [&](Repeat repeat) {
        scratch_.clear();
        writer_.append_request(*instance.planned, repeat, scratch_);
        return bytes(*request) == scratch_ || says(*request, scratch_);
      };
      const bool known =
          asks(writer_.repeat(*instance.planned)) || asks(Repeat::create_once) || asks(Repeat::update);
      if (!known && tell_) {
        // Made anew at each load, it would be there twice.
        report(asks(Repeat::create) ? FindingId::mirror_missing : FindingId::mirror_differs,
               *instance.resource, request, {"identity"});
      }
      use_all(*request);
    }
  }

  // --- what is left
  // ----------------------------------------------------------------------------------------------

  void report_rest(Instance& instance) {
    if (instance.made_from == nullptr) return;
    instance_ = &instance;
    findings_.set_record_key(instance.visit != nullptr ? instance.visit->record_key : std::string_view{});
    Node& root = *instance.resource->node;
    if (mapping_.is_document())
      pass_over(root, mapping_.layout());
    else if (Node* type = root.member("resourceType"))
      type->used = true;
    for (const auto& way : mapping_.bookkeeping()) {
      // A group is understood as far as its members are.
      Node* at = &root;
      for (auto name = way.begin(); name != way.end() && (at = at->member(*name)) != nullptr; ++name)
        at->used = true;
    }
    report_unused(instance, root);
  }

  bool is_message() const {
    return mapping_.is_document() && mapping_.layout().syntax == LayoutSyntax::hl7v2;
  }
  // Whether a part that is not there is the coding system of an observation's unit.
  bool is_unit_system(const Part& part, const Node& parent) const {
    if (!is_message() || mapping_.names().text(part.name) != "3") return false;
    const auto place = syntax::er7_location(instance_->resource->bytes, parent.begin);
    return place.segment == "OBX" && place.field == 6;
  }

  // A text value that begins like a number.
  bool is_number_in_words(const Node& node) const {
    const auto& texts = mapping_.elsewhere().texts;
    return node.is_string() && !node.text.empty() && node.text.front() >= '0' && node.text.front() <= '9' &&
           std::find(texts.begin(), texts.end(), node.name_text) != texts.end();
  }

  // Attributes of XML stand where their element does, pieces of a cell where the cell does.
  bool is_new(const Node& node) { return told_.emplace(node.begin, node.name_text, node.text).second; }

  void report_unused(const Instance& instance, const Node& node) {
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      if (at->used && at->first == nullptr) continue;
      // What is contained are instances of their own.
      if (at->name_text == "contained" && &node == instance.resource->node && !mapping_.is_document())
        continue;
      // What stands around the records of one document is shared by all: told once.
      if (!at->used && is_message() && at->name_text == syntax::er7_others) {
        for (Node* segment = at->first; segment != nullptr; segment = segment->next) {
          if (is_new(*segment)) report(FindingId::hl7_segment_astray, *instance.resource, segment, {});
        }
        continue;
      }
      if (!at->used && mapping_.is_document() && !is_new(*at)) continue;
      if (const auto left = !at->used && is_message() ? left_result(*at) : std::nullopt)
        report(left->id, *instance.resource, at, {left->status});
      else if (!at->used)
        report(is_number_in_words(*at) ? FindingId::number_in_text : FindingId::instance_unread,
               *instance.resource, at, {});
      else if (at->first != nullptr)
        report_unused(instance, *at);
    }
  }

  void report(FindingId id, const Resource& resource, const Node* node,
              std::initializer_list<std::string_view> values) {
    instances_.report(id, resource, node, values, record_key());
  }
  std::string_view record_key() const {
    return instance_ != nullptr && instance_->visit != nullptr ? instance_->visit->record_key
                                                               : std::string_view{};
  }

  const bool of_set_;  // other visits share what this one shares
  const Mapping& mapping_;
  const Options& options_;
  Writer& writer_;
  Arena& arena_;
  Arena compare_arena_;
  record::Findings& findings_;
  std::vector<Taken>* const taken_;
  Instances instances_;
  std::unordered_map<std::string_view, const Instance*> planned_;
  std::vector<std::pair<const Value*, const Instance*>> referred_;
  std::vector<Rendered> rendered_;  // by number of the shared part
  Instance* instance_ = nullptr;
  bool tell_ = true;
  Kind sets_kind_ = Kind::text;
  bool yielding_ = false;  // what is matched gives way to what was said before
  std::unordered_map<const Value*, const Instance*> begun_by_;  // lists that a yielding instance made
  std::set<std::tuple<std::uint32_t, std::string_view, std::string_view>>
      told_;  // what was not read in a document: place, name, text
  std::string scratch_, precision_url_;
  std::set<std::string_view> told_labels_;
  std::uint32_t name_reference_ = 0;
};

namespace {

// Tells what stands around resources and says neither what they are nor how they travel. `number`: of the
// entry that the object is.
void tell_around(const Node& object, std::string_view path, std::initializer_list<std::string_view> known,
                 record::Findings& findings, std::optional<std::uint32_t> number = {}) {
  for (const Node* at = object.first; at != nullptr; at = at->next) {
    if (std::find(known.begin(), known.end(), at->name_text) != known.end()) continue;
    std::string way(path);
    if (number) way.append("[").append(std::to_string(*number)).append("]");
    findings.report(FindingId::instance_unread, way.append(".").append(at->name_text), at->begin, {});
  }
}

// An entry's address. A deletion may have none: then it is that of the entry whose resource it deletes.
std::string_view url_of(const Node& entry, const Node* entries) {
  if (const Node* url = entry.member("fullUrl")) return url->text;
  const auto deleted = plain_text(syntax::at_path(entry, "request.url"));
  if (entry.member("resource") != nullptr || deleted.empty()) return {};
  for (const Node* at = entries->first; at != nullptr; at = at->next) {
    const auto url = plain_text(at->member("fullUrl"));
    if (url == deleted || url.ends_with("/" + std::string(deleted))) return url;
  }
  return {};
}

// The entries of a history that a later one makes old, one resource each by its URL. FHIR R4,
// http.html#history: the newest comes first; what the versions say of themselves counts for more.
std::set<const Node*> older_entries(const Node* entries) {
  struct Version {
    const Node* entry;
    std::optional<Time> time;
    std::uint64_t number;  // 0: none
  };
  std::unordered_map<std::string_view, Version> newest;
  std::set<const Node*> older;
  for (const Node* entry = entries == nullptr ? nullptr : entries->first; entry != nullptr;
       entry = entry->next) {
    const auto url = url_of(*entry, entries);
    if (url.empty()) continue;
    const Node* time = syntax::at_path(*entry, "resource.meta.lastUpdated");
    if (time == nullptr) time = syntax::at_path(*entry, "response.lastModified");
    Version version{entry, {}, 0};
    if (const auto read = parse_time(plain_text(time)); read && read.time.has_clock())
      version.time = read.time;
    const auto number = plain_text(syntax::at_path(*entry, "resource.meta.versionId"));
    // Any text may tell versions apart; only where all of it is a number does it tell their order.
    if (number.find_first_not_of("0123456789") == number.npos)
      std::from_chars(number.data(), number.data() + number.size(), version.number);
    const auto [known, is_first] = newest.emplace(url, version);
    if (is_first) continue;
    const Version& last = known->second;
    bool is_newer = false;
    if (version.time && last.time && compare(*version.time, *last.time) != std::partial_ordering::equivalent)
      is_newer = compare(*version.time, *last.time) == std::partial_ordering::greater;
    else if (version.number != 0 && last.number != 0)
      is_newer = version.number > last.number;
    older.insert(is_newer ? last.entry : entry);
    if (is_newer) known->second = version;
  }
  return older;
}

}  // namespace

Reader::Reader(const Mapping& mapping, Options options)
    : mapping_(&mapping), options_(std::move(options)), writer_(mapping, options_) {}

void Reader::read(Node& tree, std::string_view bytes, Arena& arena, record::Findings& findings,
                  std::vector<Record>& records, bool of_set) {
  std::vector<Resource> resources;
  if (mapping_->is_document()) {
    for (const auto& one : take_turned(tree, mapping_->layout()))
      findings.report(FindingId::instance_turned, one.path, one.node->begin, {one.name});
    std::vector<const Node*> barren;
    for (Node* one : split_records(tree, mapping_->layout(), arena, barren)) {
      resources.push_back({one, bytes, {}, {}, 0, nullptr, 0});
      resources.back().whole = &tree;
    }
    if (resources.empty()) {
      findings.report(FindingId::layout_no_record, {}, tree.begin, {mapping_->layout().records_way()});
    } else {
      // A patient or an order without results, beside one that has them all.
      for (const Node* one : barren)
        findings.report(FindingId::instance_unread, mapping_->layout().records_way(), one->begin, {});
    }
    return read(resources, arena, findings, records, of_set);
  }
  const Node* type = tree.is_object() ? tree.member("resourceType") : nullptr;
  if (type != nullptr && type->text == "Bundle") {
    std::uint32_t number = 0;
    const bool is_history = plain_text(tree.member("type")) == "history";
    // Some of it may change what all the rest means (R4, resource.html: modifier elements).
    tell_around(tree, "Bundle", {"resourceType", "id", "meta", "type", "total", "link", "timestamp", "entry"},
                findings);
    if (const Node* meta = tree.member("meta"))
      tell_around(*meta, "Bundle.meta", {"versionId", "lastUpdated", "profile"}, findings);
    Node* entries = tree.member("entry");
    const auto older = is_history ? older_entries(entries) : std::set<const Node*>{};
    for (Node* entry = entries == nullptr ? nullptr : entries->first; entry != nullptr;
         entry = entry->next, ++number) {
      Node* resource = entry->member("resource");
      const Node* url = entry->member("fullUrl");
      const bool is_older = older.contains(entry);
      tell_around(*entry, "Bundle.entry",
                  {"fullUrl", "resource", "request", "id", "link", "search", "response"}, findings, number);
      if (resource == nullptr) continue;  // a deletion
      if (is_older) {
        // FHIR R4 http.html#history: the newest version comes first.
        findings.report(record::FindingId::instance_older_version,
                        "Bundle.entry[" + std::to_string(number) + "]", resource->begin,
                        {plain_text(resource->member("resourceType"))});
        continue;
      }
      resources.push_back({resource, bytes, plain_text(url), {}, 0, entry, number});
    }
    if (resources.empty() && older.empty())
      findings.report(FindingId::instance_none, "Bundle", tree.begin, {});
  } else {
    resources.push_back({&tree, bytes, {}, {}, 0, nullptr, 0});
  }
  read(resources, arena, findings, records, of_set);
}

void Reader::read(std::vector<Resource>& resources, Arena& arena, record::Findings& findings,
                  std::vector<Record>& records, bool of_set) {
  Matching(*this, arena, findings, of_set).run(resources, records);
}

}  // namespace charpie::mapping
