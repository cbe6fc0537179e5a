#include "flow/extensions.hpp"

#include <algorithm>

namespace charpie::flow {

namespace {

using mapping::Facet;
using mapping::Part;
using mapping::Source;

// A part of a template, or the JSON of one that stands as it is: a constant has no parts.
struct Spot {
  const Part* part = nullptr;
  const syntax::Node* node = nullptr;
  Spot(const Part& from) : part(&from), node(from.constant) {}
  Spot(const syntax::Node& from) : node(&from) {}
  bool is_array() const { return node != nullptr ? node->is_array() : part->kind == Part::Kind::array; }
};

// Whether it is written whenever what surrounds it is.
bool is_sure(const Part& part) {
  return part.when.empty() && (part.kind == Part::Kind::constant || part.always);
}

class Finder {
 public:
  Finder(const mapping::Mapping& mapping, const fhir::Elements& elements)
      : names_(mapping.names()), elements_(elements), own_(mapping.canonical() + "/") {}

  std::list<Extension> run(std::span<const mapping::Template> templates) {
    for (const auto& one : templates) {
      if (!one.one_way && one.body != nullptr)
        look(*one.body, elements_.type(one.resource_type), one.resource_type);
    }
    for (auto& extension : found_) settle(extension);
    found_.sort([](const auto& a, const auto& b) { return a.url < b.url; });
    return std::move(found_);
  }

 private:
  // Each member with its name; those of all alternatives.
  template <class See>
  void members(const Spot& spot, const See& see) {
    if (spot.node != nullptr) {
      for (const auto* at = spot.node->first; at != nullptr; at = at->next) see(at->name_text, Spot(*at));
      return;
    }
    for (const auto& below : spot.part->parts) {
      if (below->kind != Part::Kind::choose) {
        see(names_.text(below->name), Spot(*below));
        continue;
      }
      for (const auto& alternative : below->parts) members(*alternative, see);
    }
  }

  // Each item of a list that is written, whether it repeats, and whether it is sure.
  template <class See>
  static void items(const Spot& list, const See& see) {
    if (list.node != nullptr) {
      for (const auto* at = list.node->first; at != nullptr; at = at->next) see(Spot(*at), false, true);
      return;
    }
    for (const auto& item : list.part->parts) {
      if (item->one_way) continue;
      const bool loop = item->kind == Part::Kind::loop;
      see(Spot(loop ? *item->parts.front() : *item), loop, !loop && is_sure(*item));
    }
  }

  // `context` is how a StructureDefinition names this place.
  void look(const Spot& spot, const fhir::Shape* shape, std::string_view context) {
    if (spot.node == nullptr && spot.part->kind == Part::Kind::typed) {
      return look(*spot.part->parts.front(), shape, shape == nullptr ? context : shape->path);
    }
    members(spot, [&](std::string_view name, const Spot& member) {
      if (name == "extension") return extensions(member, context, found_);
      const auto* known = shape == nullptr ? nullptr : shape->member(names_.find(name));
      if (known == nullptr) return;
      const auto* type = known->companion ? nullptr : known->type->shape;
      if (!member.is_array()) return look(member, type, known->element->path);
      items(member, [&](const Spot& item, bool, bool) { look(item, type, known->element->path); });
    });
  }

  // `into`: what was found, or the parts of an extension.
  void extensions(const Spot& list, std::string_view context, std::list<Extension>& into) {
    std::set<std::string_view> here;
    items(list, [&](const Spot& item, bool repeats, bool sure) {
      std::string_view url;
      members(item, [&](std::string_view name, const Spot& member) {
        if (name == "url" && member.node != nullptr) url = member.node->text;
      });
      if (&into == &found_ && !url.starts_with(own_)) return look(item, elements_.type("Extension"), {});
      auto at = std::find_if(into.begin(), into.end(), [&](const auto& one) { return one.url == url; });
      if (at == into.end()) {
        at = into.emplace(into.end());
        at->url = url;
      }
      at->repeats = at->repeats || repeats || !here.insert(url).second;
      at->places += 1;
      at->sure += sure ? 1 : 0;
      if (&into == &found_) at->contexts.emplace(context);
      fill(item, *at);
    });
  }

  // What one place says of an extension.
  void fill(const Spot& item, Extension& extension) {
    members(item, [&](std::string_view name, const Spot& member) {
      if (name == "extension") return extensions(member, {}, extension.parts);
      const auto* known = elements_.type("Extension")->member(names_.find(name));
      if (known == nullptr || known->element->name != "value") return;
      if (!known->companion) {
        extension.types.emplace(known->type->name);
        gather(member, extension);
      }
      look(member, known->companion ? nullptr : known->type->shape, known->element->path);
    });
  }

  // What a value comes from. Of a datatype the field alone counts: its sides are those of any such value.
  static void gather(const Spot& spot, Extension& into, bool whole = false) {
    if (spot.node != nullptr) {
      if (spot.node->is_string() && !whole) into.codes.emplace(spot.node->text);
      return;
    }
    const auto& part = *spot.part;
    if (part.kind == Part::Kind::primitive) {
      if (part.source == Source::run) into.facts.emplace(part.literal);
      if (part.source != Source::field) return;
      into.fields.insert(part.accessor.field);
      into.facets.insert(whole ? Facet::self : part.facet);
      if (part.domain != nullptr) into.domains.insert(part.domain);
      return;
    }
    if (part.kind == Part::Kind::constant) return;
    for (const auto& below : part.parts) gather(*below, into, whole || part.kind == Part::Kind::typed);
  }

  static void settle(Extension& extension) {
    for (auto& part : extension.parts) {
      part.required = part.sure >= extension.places;
      settle(part);
    }
  }

  const syntax::Names& names_;
  const fhir::Elements& elements_;
  std::string own_;
  std::list<Extension> found_;  // a list: what is being filled stays in its place
};

}  // namespace

std::list<Extension> own_extensions(const mapping::Mapping& mapping, const fhir::Elements& elements) {
  return Finder(mapping, elements).run(mapping.templates());
}

}  // namespace charpie::flow
