#include "fhir/strict.hpp"

#include <algorithm>
#include <bit>
#include <string>
#include <utility>
#include <vector>

#include "fhir/forms.hpp"

namespace charpie::fhir {

namespace {

using record::FindingId;
using syntax::Node;
using syntax::NodeKind;

// The way down to a value, kept on the stack; it becomes text only when something is reported.
struct Step {
  static constexpr std::uint32_t no_index = 0xFFFFFFFF;
  const Step* above;
  std::string_view name;
  std::uint32_t index = no_index;
};

void append(const Step* step, std::string& path) {
  if (step == nullptr) return;
  append(step->above, path);
  if (step->index != Step::no_index) {
    path += '[' + std::to_string(step->index) + ']';
    return;
  }
  if (!path.empty()) path += '.';
  path += step->name.starts_with('_') ? step->name.substr(1) : step->name;
}

std::string_view kind_words(NodeKind kind) {
  switch (kind) {
    case NodeKind::object:
      return "an object";
    case NodeKind::array:
      return "an array";
    case NodeKind::string:
      return "a string";
    case NodeKind::number:
      return "a number";
    case NodeKind::boolean:
      return "a boolean";
    case NodeKind::null:
      return "null";
  }
  return {};
}

bool is_empty(const Node& node) {
  switch (node.kind) {
    case NodeKind::object:
    case NodeKind::array:
      return node.count == 0;
    case NodeKind::string:
      return node.text.empty();
    default:
      return false;
  }
}

// The name and its value of a code that the table does not list stay out of a message when they are long.
std::string_view short_text(std::string_view text) {
  return text.size() <= 64 ? text : std::string_view("a text of more than 64 bytes");
}

class Reading {
 public:
  Reading(const Elements& elements, const Invariants& invariants, record::Findings& findings)
      : elements_(elements), invariants_(invariants), n_(invariants.names()), findings_(findings) {}

  // `root` is the resource that contains this one, nullptr when none does.
  void read_resource(const Node& node, const Step* above, const Node* root) {
    if (!node.is_object()) {
      const Step step{above, "Resource"};
      const Step* at = above == nullptr ? &step : above;
      report(FindingId::fhir_json_type, at, node,
             {"a resource", kind_words(NodeKind::object), kind_words(node.kind)});
      return;
    }
    const Node* type = node.member(n_.resource_type);
    const bool named = type != nullptr && type->is_string() && !type->text.empty();
    const Step step{nullptr, named ? short_text(type->text) : std::string_view("Resource")};
    const Step* at = above == nullptr ? &step : above;
    if (type == nullptr || !type->is_string())
      return report(FindingId::fhir_resource_type, at, node,
                    {type == nullptr ? "is missing" : "is not a string"});
    const Shape* shape = elements_.type(type->text);
    if (shape == nullptr || shape->kind != Kind::resource || shape->abstract) {
      if (elements_.is_resource_type(type->text) && (shape == nullptr || !shape->abstract)) {
        if (std::find(not_covered_.begin(), not_covered_.end(), type->text) != not_covered_.end()) return;
        not_covered_.push_back(type->text);
        return report(FindingId::fhir_type_not_covered, at, node, {type->text});
      }
      return report(FindingId::fhir_resource_type, at, *type,
                    {"names no resource type of " + version_text()});
    }
    const Node* outer_resource = resource_;
    const Node* outer_root = root_;
    resource_ = &node;
    root_ = root == nullptr ? &node : root;
    ContainedTypes outer_contained;
    if (root == nullptr) {
      outer_contained = std::exchange(contained_, {});
      list_contained(node);
    }
    if (root != nullptr && !node.member(n_.id.plain))
      report(FindingId::fhir_missing, at, node, {"the id of a contained resource"});
    read_object(node, *shape, at, {});
    if (root == nullptr) contained_ = std::move(outer_contained);
    resource_ = outer_resource;
    root_ = outer_root;
  }

 private:
  std::string version_text() const { return elements_.version() == Version::r4 ? "FHIR R4" : "FHIR R5"; }

  void report(FindingId id, const Step* step, const Node& node,
              std::initializer_list<std::string_view> values) {
    // Errors count apart: they are not to be lost behind what is only advised.
    auto& told = record::finding_kind(id).severity >= record::Severity::error ? errors_told_ : others_told_;
    if (told > StrictReader::most_findings) return;
    std::string path;
    append(step, path);
    if (told++ == StrictReader::most_findings) {
      const auto limit = std::to_string(StrictReader::most_findings);
      return findings_.report(FindingId::fhir_not_told, path, node.begin, {limit});
    }
    findings_.report(id, path, node.begin, values);
  }

  // The members of an object of that shape. `rules` are those of the element that it stands in.
  void read_object(const Node& node, const Shape& shape, const Step* step,
                   std::span<const GradedRule> rules) {
    std::uint64_t seen = 0;
    std::uint32_t members = 0;
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      const Member* member = shape.member(child->name);
      const Step below{step, child->name_text};
      if (member == nullptr && shape.kind == Kind::resource && child->name == n_.resource_type) continue;
      ++members;
      if (member == nullptr) {
        report(FindingId::fhir_unknown_element, step, *child, {short_text(child->name_text), shape.path});
        continue;
      }
      const auto bit = std::uint64_t{1} << member->element->order;
      if ((seen & bit) != 0 && member->element->choice)
        find_second_choice(node, *child, shape, *member, &below);
      seen |= bit;
      read_member(*child, *member, node, &below);
    }
    // resourceType alone says nothing either.
    if (members == 0) report(FindingId::fhir_empty, step, node, {shape.path});
    for (auto missing = shape.required & ~seen; missing != 0; missing &= missing - 1) {
      const auto& element = shape.elements[static_cast<std::size_t>(std::countr_zero(missing))];
      report(FindingId::fhir_missing, step, node, {element.path});
    }
    const Place place{n_, node, shape, *resource_, *root_, contained_};
    ask(invariants_.of(shape), place, step);
    ask(rules, place, step);
  }

  void ask(std::span<const GradedRule> rules, const Place& place, const Step* step) {
    for (const auto& [rule, error] : rules) {
      if (rule->holds(place)) continue;
      report(error ? FindingId::fhir_invariant : FindingId::fhir_best_practice, step, place.node,
             {rule->key, rule->words});
    }
  }

  // valueString after valueQuantity; not _valueString after valueString.
  void find_second_choice(const Node& owner, const Node& child, const Shape& shape, const Member& member,
                          const Step* step) {
    for (const Node* other = owner.first; other != &child; other = other->next) {
      const Member* first = shape.member(other->name);
      if (first == nullptr || first->element != member.element || first->type == member.type) continue;
      return report(FindingId::fhir_choice_twice, step, child, {member.element->path, other->name_text});
    }
  }

  void read_member(const Node& child, const Member& member, const Node& owner, const Step* step) {
    const Element& element = *member.element;
    if (element.max == 0) return report(FindingId::fhir_cardinality, step, child, {element.path, "0", "1"});
    if (element.repeats() != child.is_array()) {
      const auto wanted = element.repeats() ? NodeKind::array
                          : member.companion || member.type->shape->primitive == Primitive::none
                              ? NodeKind::object
                              : json_kind(member.type->shape->primitive);
      return report(FindingId::fhir_json_type, step, child,
                    {element.path, kind_words(wanted), kind_words(child.kind)});
    }
    const Node* partner = member.partner == 0 ? nullptr : owner.member(member.partner);
    if (!element.repeats()) {
      if (member.companion) return read_companion(child, partner, step);
      return read_value(child, element, *member.type, step);
    }
    if (child.count == 0) return report(FindingId::fhir_empty, step, child, {element.path});
    if (element.max != Element::no_limit && child.count > element.max)
      report(FindingId::fhir_cardinality, step, child,
             {element.path, std::to_string(element.max), std::to_string(child.count)});
    if (member.companion && partner != nullptr && partner->is_array() && partner->count != child.count)
      report(
          FindingId::fhir_companion, step, child,
          {child.name_text, std::to_string(child.count), partner->name_text, std::to_string(partner->count)});
    Step item_step{step, {}, 0};
    const Node* beside = partner != nullptr && partner->is_array() ? partner->first : nullptr;
    for (const Node* item = child.first; item != nullptr; item = item->next, ++item_step.index) {
      if (item->kind == NodeKind::null) {
        // A place is kept for what stands in the other array.
        if (beside == nullptr || beside->kind == NodeKind::null)
          report(FindingId::fhir_null, &item_step, *item, {});
      } else if (member.companion) {
        read_companion(*item, beside, &item_step);
      } else {
        read_value(*item, element, *member.type, &item_step);
      }
      if (beside != nullptr) beside = beside->next;
    }
  }

  // The object of id and extensions beside a primitive; `value` is the primitive, nullptr when there is none.
  void read_companion(const Node& node, const Node* value, const Step* step) {
    if (node.kind == NodeKind::null) return report(FindingId::fhir_null, step, node, {});
    if (!node.is_object())
      return report(FindingId::fhir_json_type, step, node,
                    {"what stands beside a primitive", kind_words(NodeKind::object), kind_words(node.kind)});
    static constexpr std::string_view element = "Element";
    read_object(node, *elements_.type(element), step, {});
    const bool has_value = value != nullptr && value->kind != NodeKind::null;
    if (!has_value && node.count > 0 && node.member(n_.extension.plain) == nullptr)
      report(FindingId::fhir_empty, step, node, {"a primitive with an id only"});
  }

  void read_value(const Node& node, const Element& element, const ElementType& type, const Step* step) {
    if (node.kind == NodeKind::null) return report(FindingId::fhir_null, step, node, {});
    const Shape& shape = *type.shape;
    if (shape.primitive != Primitive::none) return read_primitive(node, element, shape, step);
    if (shape.kind == Kind::resource) {
      static constexpr std::string_view contained = "contained";
      return read_resource(node, step, element.name == contained ? root_ : nullptr);
    }
    if (!node.is_object())
      return report(FindingId::fhir_json_type, step, node,
                    {element.path, kind_words(NodeKind::object), kind_words(node.kind)});
    read_object(node, shape, step, invariants_.of(element));
    if (element.binding != nullptr && element.binding->listed)
      read_coded(node, *element.binding, shape, step);
    if (!type.targets.empty()) read_reference(node, type, shape, step);
  }

  void read_primitive(const Node& node, const Element& element, const Shape& shape, const Step* step) {
    const auto wanted = json_kind(shape.primitive);
    if (node.kind != wanted)
      return report(FindingId::fhir_json_type, step, node,
                    {element.path, kind_words(wanted), kind_words(node.kind)});
    if (is_empty(node)) return report(FindingId::fhir_empty, step, node, {element.path});
    if (const auto fault = form_fault(shape.primitive, node.text, elements_.version()); !fault.empty()) {
      report(FindingId::fhir_form, step, node, {shape.path, fault});
    } else if (element.binding != nullptr && element.binding->listed &&
               !element.binding->contains(node.text)) {
      report(FindingId::fhir_code_not_bound, step, node, {short_text(node.text), element.binding->name});
    }
    ask(invariants_.of(element), Place{n_, node, shape, *resource_, *root_, contained_}, step);
  }

  bool is_in(const Node& coding, const ValueSet& set) const {
    const Node* system = coding.member(n_.system.plain);
    const Node* code = coding.member(n_.code.plain);
    return system != nullptr && code != nullptr && set.contains(system->text, code->text);
  }

  // A required binding of a CodeableConcept: one coding at least is of the value set.
  void read_coded(const Node& node, const ValueSet& set, const Shape& shape, const Step* step) {
    static constexpr std::string_view coding_type = "Coding";
    const Node* codings = shape.path == coding_type ? &node : node.member(n_.coding.plain);
    std::string_view told = "words only";
    bool good = false;
    const auto look = [&](const Node& coding) {
      if (!coding.is_object()) return;
      if (const Node* code = coding.member(n_.code.plain); code != nullptr) told = short_text(code->text);
      good = good || is_in(coding, set);
    };
    if (codings != nullptr && codings->is_array()) {
      for (const Node* one = codings->first; one != nullptr; one = one->next) look(*one);
    } else if (codings != nullptr) {
      look(*codings);
    }
    // A concept that says by extension why it is absent has no code.
    if (!good && (codings != nullptr || node.member(n_.extension.plain) == nullptr))
      report(FindingId::fhir_code_not_bound, step, node, {told, set.name});
  }

  // The literal reference of a Reference, or of the one in a CodeableReference.
  void read_reference(const Node& node, const ElementType& type, const Shape& shape, const Step* step) {
    static constexpr std::string_view reference_type = "Reference";
    static constexpr std::string_view codeable_type = "CodeableReference";
    const Node* object = &node;
    if (shape.path == codeable_type)
      object = node.member(n_.reference.plain);
    else if (shape.path != reference_type)
      return;
    if (object == nullptr || !object->is_object()) return;
    const Node* literal = object->member(n_.reference.plain);
    const Node* typed = object->member(n_.type.plain);
    std::string_view target;
    if (literal != nullptr && literal->is_string() && !literal->text.empty()) {
      std::string_view fault;
      target = target_of(literal->text, fault);
      if (!fault.empty()) return report(FindingId::fhir_reference_form, step, *literal, {fault});
    }
    if (target.empty() && typed != nullptr && elements_.is_resource_type(typed->text)) target = typed->text;
    if (target.empty() || allows(type, target)) return;
    std::string allowed;
    for (const auto one : type.targets) allowed += (allowed.empty() ? "" : ", ") + std::string(one);
    report(FindingId::fhir_reference_target, step, literal != nullptr ? *literal : *object,
           {target, allowed});
  }

  static bool allows(const ElementType& type, std::string_view target) {
    return std::any_of(type.targets.begin(), type.targets.end(), [&](std::string_view one) {
      return one == target || one == "Resource" || one == "CanonicalResource" || one == "MetadataResource";
    });
  }

  // The resource type that a reference points to, empty when its text does not tell; or what is wrong with it
  // (references.html#literal).
  std::string_view target_of(std::string_view text, std::string_view& fault) const {
    if (text.front() == '#') return contained_type(text.substr(1));
    if (std::any_of(text.begin(), text.end(),
                    [](char c) { return c == ' ' || c == '\n' || c == '\t' || c == '\r'; })) {
      fault = "white space";
      return {};
    }
    if (text.starts_with("urn:")) {
      if (text.starts_with("urn:uuid:")) fault = form_fault(Primitive::uuid, text, elements_.version());
      if (text.starts_with("urn:oid:")) fault = form_fault(Primitive::oid, text, elements_.version());
      return {};
    }
    const bool absolute = text.find("://") != std::string_view::npos;
    text = text.substr(0, text.find('#'));
    if (const auto query = text.find('?'); query != std::string_view::npos) {
      // A conditional reference: Patient?identifier=...
      const auto type = text.substr(0, query);
      if (absolute) return {};
      if (!elements_.is_resource_type(type)) fault = "a search without a resource type in front";
      return type;
    }
    if (const auto history = text.find("/_history/"); history != std::string_view::npos) {
      if (!is_id(text.substr(history + 10))) fault = "the version is no id";
      text = text.substr(0, history);
    }
    const auto slash = text.rfind('/');
    if (slash == std::string_view::npos) {
      if (!absolute && text.find(':') == std::string_view::npos) fault = "neither Type/id nor a URL";
      return {};
    }
    auto type = text.substr(0, slash);
    const auto before = type.rfind('/');
    if (before != std::string_view::npos) type = type.substr(before + 1);
    if (elements_.is_resource_type(type)) {
      if (!is_id(text.substr(slash + 1))) fault = "what stands after the type is no id";
      return type;
    }
    if (!absolute) fault = "it names no resource type";
    return {};
  }

  void list_contained(const Node& root) {
    const Node* list = root.member(n_.contained.plain);
    if (list == nullptr || !list->is_array()) return;
    for (const Node* one = list->first; one != nullptr; one = one->next) {
      if (!one->is_object()) continue;
      const Node* id = one->member(n_.id.plain);
      const Node* type = one->member(n_.resource_type);
      if (id != nullptr) contained_.emplace(id->text, type == nullptr ? std::string_view{} : type->text);
    }
  }

  std::string_view contained_type(std::string_view id) const {
    const auto found = contained_.find(id);
    return found == contained_.end() ? std::string_view{} : found->second;
  }

  const Elements& elements_;
  const Invariants& invariants_;
  const RuleNames& n_;
  record::Findings& findings_;
  const Node* resource_ = nullptr;
  const Node* root_ = nullptr;
  std::size_t errors_told_ = 0;
  std::size_t others_told_ = 0;
  ContainedTypes contained_;
  std::vector<std::string_view> not_covered_;  // types that were told already
};

}  // namespace

void StrictReader::read(const Node& resource, record::Findings& findings) const {
  Reading(elements_, invariants_, findings).read_resource(resource, nullptr, nullptr);
}

}  // namespace charpie::fhir
