#include <algorithm>
#include <bit>

#include "fhir/forms.hpp"
#include "fhir/xml.hpp"
#include "mapping/outline.hpp"
#include "syntax/json.hpp"
#include "syntax/xml_write.hpp"

namespace charpie::mapping {

namespace {

using Kind = Part::Kind;
using fhir::Primitive;
using syntax::Node;
using syntax::NodeKind;

// What cannot be placed ends the work on the template.
struct Unplaced {};

// A member of an object: a part, a constant, or a choice of members. Bits are places in the object's shape.
struct Placed {
  Part* part = nullptr;
  const Node* node = nullptr;            // of a constant
  const fhir::Member* member = nullptr;  // nullptr: a choice
  std::uint64_t bits = 0, companions = 0;
};

NodeKind kind_of(Shape shape) {
  return shape == Shape::number    ? NodeKind::number
         : shape == Shape::boolean ? NodeKind::boolean
                                   : NodeKind::string;
}

// The member's name without the quotes and the colon of JSON.
std::string_view name_of(const Part& part) {
  return std::string_view(part.key).substr(1, part.key.size() - 3);
}

class XmlOutliner {
 public:
  XmlOutliner(const fhir::Elements& elements, Arena& texts)
      : elements_(elements), texts_(texts), element_(elements.shape("Element")) {}

  Outline resource(Template& made_from) {
    const fhir::Shape* type = elements_.type(made_from.resource_type);
    if (type == nullptr || type->kind != fhir::Kind::resource || type->abstract) throw Unplaced{};
    auto members = members_of(*made_from.body, *type);
    return element(made_from.body, type->path, *type, members);
  }

 private:
  template <class... Texts>
  std::string_view keep(Texts... texts) {
    std::string joined;
    (joined.append(texts), ...);
    return texts_.keep(joined);
  }

  const Node* tree(std::string_view json) {
    const auto read = syntax::read_json(texts_.keep(json), texts_, elements_.names());
    if (!read) throw Unplaced{};
    return *read;
  }

  // --- members

  Placed placed(const fhir::Shape& shape, std::string_view name, Part* part, const Node* node) {
    const fhir::Member* member = shape.member(elements_.names().find(name));
    if (member == nullptr) throw Unplaced{};
    const auto bit = std::uint64_t{1} << member->element->order;
    return {part, node, member, bit, member->companion ? bit : 0};
  }

  std::vector<Placed> members_of(Part& object, const fhir::Shape& shape) {
    std::vector<Placed> members;
    if (object.kind == Kind::constant) return members_of(tree(object.json), shape);
    for (auto& part : object.parts) {
      if (part->kind == Kind::choose) {
        Placed choice{part};
        for (auto& alternative : part->parts) {
          for (const auto& one : members_of(*alternative, shape)) {
            choice.bits |= one.bits;
            choice.companions |= one.companions;
          }
        }
        members.push_back(choice);
      } else if (name_of(*part) != "resourceType") {
        const Node* node = part->kind == Kind::constant ? tree(part->json) : nullptr;
        members.push_back(placed(shape, name_of(*part), part, node));
      }
    }
    return members;
  }
  std::vector<Placed> members_of(const Node* object, const fhir::Shape& shape) {
    std::vector<Placed> members;
    for (const Node* at = object->first; at != nullptr; at = at->next) {
      members.push_back(placed(shape, at->name_text, nullptr, at));
    }
    return members;
  }

  // Those of the members that are among `wanted`, in the order of the shape. A choice stays one as long as
  // nothing else stands between its members; otherwise it is made again for each place.
  std::vector<Outline> in_order(const std::vector<Placed>& members, const fhir::Shape& shape,
                                std::uint64_t wanted) {
    std::vector<Outline> out;
    std::uint64_t all = 0;
    for (const auto& one : members) all |= one.bits & wanted;
    while (all != 0) {
      const std::uint64_t place = all & -all;
      std::vector<const Placed*> here;
      std::uint64_t companions = 0;
      for (const auto& one : members) {
        if ((one.bits & place) == 0) continue;
        here.push_back(&one);
        companions |= one.companions & place;
      }
      std::uint64_t done = place;
      if (here.size() == 1) {
        if (here.front()->member == nullptr) done = together(*here.front(), members, wanted);
        out.push_back(one(*here.front(), shape, done));
      } else if (here.size() == 2 && here[0]->member != nullptr && here[1]->member != nullptr) {
        out.push_back(pair(*here[0], *here[1]));
      } else {
        // Who says the value and who the extensions beside it would be decided twice.
        if (companions != 0) throw Unplaced{};
        for (const auto* each : here) out.push_back(one(*each, shape, place));
      }
      all &= ~done;
    }
    return out;
  }

  // The places of a choice, from its first on, that can be written in one.
  static std::uint64_t together(const Placed& choice, const std::vector<Placed>& members,
                                std::uint64_t wanted) {
    const std::uint64_t own = choice.bits & wanted;
    const auto first = own & -own;
    std::uint64_t others = 0;
    for (const auto& one : members) others |= &one == &choice ? 0 : one.bits & wanted;
    const auto last = std::bit_floor(own);
    const auto between = (last - first) | last;
    return (others & between) == 0 ? own : first;
  }

  Outline one(const Placed& member, const fhir::Shape& shape, std::uint64_t wanted) {
    if (member.member == nullptr) {
      Outline made{Step::Kind::choose, member.part};
      for (auto& alternative : member.part->parts) {
        Outline inside{Step::Kind::alternative, alternative};
        inside.inside = in_order(members_of(*alternative, shape), shape, wanted);
        made.inside.push_back(std::move(inside));
      }
      return made;
    }
    const fhir::Member& known = *member.member;
    if (known.companion) return beside(member);
    if (known.element->attribute) return attribute(member, known.element->name);
    Outline made = member.node != nullptr ? constant(member.part, *member.node, known, true)
                                          : listed(*member.part, known);
    if (member.part != nullptr) made.shared = member.part->shared;
    return made;
  }

  // --- elements

  // An element of members. Its start tag ends behind the last attribute; with nothing in it, it is its own
  // end.
  Outline element(Part* part, std::string_view name, const fhir::Shape& shape,
                  const std::vector<Placed>& members) {
    std::uint64_t attributes = 0;
    for (const auto& one : shape.elements) {
      if (one.attribute) attributes |= std::uint64_t{1} << one.order;
    }
    auto made = in_order(members, shape, attributes);
    auto children = in_order(members, shape, ~attributes);
    const auto is_constant = [](const Outline& one) { return one.is_constant(); };
    const bool known = std::all_of(made.begin(), made.end(), is_constant);
    const bool vanishes = part != nullptr && !part->always && part->has_hole;
    const bool filled = std::any_of(children.begin(), children.end(), is_constant);
    Outline whole{Step::Kind::object, part, {}, keep("<", name), {}};
    if (children.empty()) {
      whole.close = "/>";
    } else if (known && (made.empty() || vanishes || filled)) {
      whole.close = keep("</", name, ">");
      made.push_back({Step::Kind::bytes, nullptr, {}, ">", {}});
      std::move(children.begin(), children.end(), std::back_inserter(made));
    } else {
      made.push_back(content(nullptr, name, std::move(children)));
    }
    whole.inside = std::move(made);
    return whole;
  }

  // What stands between the tags, if anything does.
  Outline content(Part* part, std::string_view name, std::vector<Outline> children) {
    Outline made{Step::Kind::otherwise, nullptr, {}, {}, "/>"};
    made.inside.push_back({Step::Kind::object, part, {}, ">", keep("</", name, ">")});
    made.inside.back().inside = std::move(children);
    return made;
  }

  // A primitive and what stands beside it are one element.
  Outline pair(const Placed& one, const Placed& other) {
    const Placed& value = one.member->companion ? other : one;
    const Placed& beside = one.member->companion ? one : other;
    const fhir::Member& member = *value.member;
    if (member.companion || beside.member->partner != member.name || member.element->repeats())
      throw Unplaced{};
    const auto name = elements_.names().text(member.name);
    Outline whole{Step::Kind::object, nullptr, {}, keep("<", name), {}};
    whole.inside.push_back(attribute(value, "value"));
    if (beside.node != nullptr) {
      const auto element = constant(nullptr, *beside.node, *beside.member, true).open;
      const auto start = keep("<", name, ">");
      if (!element.starts_with(start)) throw Unplaced{};  // its id would have to stand before the value
      whole.inside.push_back({Step::Kind::bytes, nullptr, {}, element.substr(start.size() - 1), {}});
    } else {
      whole.inside.push_back(content(beside.part, name, extensions(*beside.part)));
    }
    if (value.part != nullptr && beside.part != nullptr && value.part->shared != 0 &&
        beside.part->shared != 0) {
      whole.shared = value.part->shared;
      whole.shared_beside = beside.part->shared;
    }
    return whole;
  }

  // What stands beside a primitive that has no value.
  Outline beside(const Placed& member) {
    if (member.node != nullptr) return constant(member.part, *member.node, *member.member, true);
    if (member.member->element->repeats()) throw Unplaced{};
    const auto name = elements_.names().text(member.member->partner);
    Outline whole{Step::Kind::object, member.part, {}, keep("<", name, ">"), keep("</", name, ">")};
    whole.inside = extensions(*member.part);
    return whole;
  }

  std::vector<Outline> extensions(Part& beside) {
    if (beside.kind != Kind::object) throw Unplaced{};
    for (const auto& one : members_of(beside, *element_)) {
      if (one.member == nullptr || one.member->element->attribute) throw Unplaced{};
    }
    return in_order(members_of(beside, *element_), *element_, ~std::uint64_t{0});
  }

  // A member's elements; lists have no frame of their own.
  Outline listed(Part& part, const fhir::Member& member) {
    if ((part.kind == Kind::array) != member.element->repeats()) throw Unplaced{};
    if (part.kind != Kind::array) return value(part, member);
    Outline made{Step::Kind::array, &part};
    for (auto& item : part.parts) {
      if (!item->one_way) made.inside.push_back(value(*item, member));
    }
    return made;
  }

  Outline value(Part& part, const fhir::Member& member) {
    const fhir::Shape& type = *member.type->shape;
    const auto name = elements_.names().text(member.name);
    switch (part.kind) {
      case Kind::constant:
        return constant(&part, *tree(part.json), member, false);
      case Kind::object:
        if (type.primitive != Primitive::none || fhir::holds_resource(*member.type)) break;
        return element(&part, name, type, members_of(part, type));
      case Kind::typed:
      case Kind::loop: {
        Outline made{part.kind == Kind::typed ? Step::Kind::typed : Step::Kind::loop, &part};
        made.inside.push_back(value(*part.parts.front(), member));
        return made;
      }
      case Kind::references:
      case Kind::labels: {
        const bool refers = part.kind == Kind::references;
        if (type.path != (refers ? "Reference" : "Coding")) break;
        return {refers ? Step::Kind::references : Step::Kind::labels,
                &part,
                {},
                keep("<", name, ">"),
                keep("</", name, ">")};
      }
      case Kind::primitive:
      case Kind::text:
        if (type.primitive == Primitive::xhtml) return narrative(part);
        return text(part, type.primitive, keep("<", name, " value=\""), "\"/>");
      case Kind::array:
      case Kind::choose:
        break;
    }
    throw Unplaced{};
  }

  Outline attribute(const Placed& member, std::string_view name) {
    const Primitive type = member.member->type->shape->primitive;
    if (type == Primitive::none || type == Primitive::xhtml) throw Unplaced{};
    if (member.node == nullptr) return text(*member.part, type, keep(" ", name, "=\""), "\"");
    std::string out;
    if (member.node->kind != fhir::json_kind(type) || member.node->text.empty() ||
        !syntax::write_xml_attribute(name, member.node->text, out)) {
      throw Unplaced{};
    }
    return {Step::Kind::bytes, member.part, {}, texts_.keep(out), {}};
  }

  // A hole, or a text of pieces, between `open` and `close`.
  Outline text(Part& part, Primitive type, std::string_view open, std::string_view close) {
    if (type == Primitive::none || fhir::json_kind(type) != kind_of(part.shape)) throw Unplaced{};
    if (part.kind == Kind::primitive) {
      const auto escape = part.shape == Shape::string ? Escape::attribute : Escape::none;
      return {Step::Kind::hole, &part, {}, open, close, escape};
    }
    if (part.kind != Kind::text) throw Unplaced{};
    Outline made{Step::Kind::text, &part, {}, open, close};
    for (auto& piece : part.parts) made.inside.push_back(this->piece(*piece, Escape::attribute));
    return made;
  }

  Outline piece(Part& part, Escape escape) {
    if (part.kind == Kind::primitive) return {Step::Kind::hole, &part, {}, {}, {}, escape};
    std::string escaped;
    if (Appender out(escaped); !append_escaped(escape, part.literal, out)) throw Unplaced{};
    return {Step::Kind::bytes, nullptr, {}, texts_.keep(escaped), {}};
  }

  // The div stands as it is. That it is well-formed whatever is in its holes can be seen when they are filled
  // with a reference, which may stand nowhere but in a text.
  Outline narrative(Part& part) {
    if (part.kind != Kind::text) throw Unplaced{};
    Outline made{Step::Kind::text, &part};
    std::string filled;
    for (auto& piece : part.parts) {
      const bool is_hole = piece->kind == Kind::primitive;
      const bool is_bare = is_hole && piece->render != Render::xhtml;
      filled += is_hole ? "&amp;" : piece->literal;
      made.inside.push_back(this->piece(*piece, is_bare ? Escape::bare : Escape::xhtml));
    }
    if (!fhir::is_plainly_xhtml(filled)) throw Unplaced{};
    return made;
  }

  // A value that stands as it is; `whole`: all of the member, which may be a list.
  Outline constant(Part* part, const Node& node, const fhir::Member& member, bool whole) {
    if (whole && node.is_array() != member.element->repeats()) throw Unplaced{};
    std::string out;
    if (node.is_array() && node.first == nullptr) throw Unplaced{};
    for (const Node* at = node.is_array() ? node.first : &node; at != nullptr;
         at = node.is_array() ? at->next : nullptr) {
      const bool beside = member.companion;
      if (!fhir::append_element(beside ? nullptr : at, beside ? at : nullptr, member, elements_, out))
        throw Unplaced{};
    }
    return {Step::Kind::bytes, part, {}, texts_.keep(out), {}};
  }

  const fhir::Elements& elements_;
  Arena& texts_;
  const fhir::Shape* element_;
};

}  // namespace

std::optional<Outline> outline_in_xml(Template& made_from, const fhir::Elements& elements, Arena& texts) {
  try {
    return XmlOutliner(elements, texts).resource(made_from);
  } catch (const Unplaced&) {
    return std::nullopt;
  }
}

}  // namespace charpie::mapping
