#include "mapping/likeness.hpp"

#include <algorithm>

namespace charpie::mapping {

using syntax::Node;

namespace {

bool is_coding(const Node& node) {
  return node.is_object() && node.member("system") != nullptr && node.member("code") != nullptr;
}

}  // namespace

// Whether an instance shows a constant. Codes are compared by system and code, never by display.
bool resembles(const Node& constant, const Node& node) {
  if (constant.kind != node.kind) return false;
  if (constant.is_object()) {
    if (is_coding(constant)) {
      return plain_text(node.member("system")) == constant.member("system")->text &&
             plain_text(node.member("code")) == constant.member("code")->text;
    }
    if (const Node* codings = constant.member("coding")) {
      const Node* shown = node.member("coding");
      if (shown == nullptr || !shown->is_array()) return false;
      for (const Node* one = codings->first; one != nullptr; one = one->next) {
        for (const Node* other = shown->first; other != nullptr; other = other->next) {
          if (resembles(*one, *other)) return true;
        }
      }
      return false;
    }
    for (const Node* at = constant.first; at != nullptr; at = at->next) {
      const Node* other = node.member(at->name_text);
      if (other == nullptr || !resembles(*at, *other)) return false;
    }
    return true;
  }
  if (constant.is_array()) {
    for (const Node* at = constant.first; at != nullptr; at = at->next) {
      bool found = false;
      for (const Node* other = node.first; other != nullptr && !found; other = other->next)
        found = resembles(*at, *other);
      if (!found) return false;
    }
    return true;
  }
  return constant.text == node.text;
}

bool equal(const Node& a, const Node& b) {
  if (a.kind != b.kind || a.count != b.count) return false;
  if (a.is_object()) {
    for (const Node* at = a.first; at != nullptr; at = at->next) {
      const Node* other = b.member(at->name_text);
      if (other == nullptr || !equal(*at, *other)) return false;
    }
    return true;
  }
  if (a.is_array()) {
    const Node* other = b.first;
    for (const Node* at = a.first; at != nullptr; at = at->next, other = other->next) {
      if (!equal(*at, *other)) return false;
    }
    return true;
  }
  return a.text == b.text;
}

bool required(const Part& part) {
  return !part.has_hole || part.always || part.known_by_value;
}

bool of_constants(const Part& part) {
  return part.kind == Part::Kind::choose &&
         std::all_of(part.parts.begin(), part.parts.end(),
                     [](const Part* one) { return one->constant != nullptr; });
}

namespace {

// What is shown beside a code never decides what it means.
bool is_for_people(const Node& node) {
  return node.is_string() && (node.name_text == "display" || node.name_text == "unit");
}

bool accepts_members(const Part& object, const Node& node) {
  for (const auto& member : object.parts) {
    if (member->kind == Part::Kind::choose) {
      if (of_constants(*member) && std::none_of(member->parts.begin(), member->parts.end(),
                                                [&](const auto& one) { return shows(*one, node); })) {
        return false;
      }
      continue;
    }
    const Node* shown = node.member(member->name);
    if (shown != nullptr && is_for_people(*shown)) continue;
    if (shown == nullptr ? required(*member) : !accepts(*member, *shown)) return false;
  }
  return true;
}

}  // namespace

bool accepts(const Part& part, const Node& node) {
  switch (part.kind) {
    case Part::Kind::constant:
      return resembles(*part.constant, node);
    case Part::Kind::object:
      return node.is_object() && accepts_members(part, node);
    case Part::Kind::array:
      if (!node.is_array()) return false;
      for (const auto& item : part.parts) {
        if (item->one_way || item->kind == Part::Kind::loop || item->kind == Part::Kind::references) continue;
        if (!required(*item) && !item->is_fixed) continue;
        bool found = false;
        for (const Node* at = node.first; at != nullptr && !found; at = at->next) found = accepts(*item, *at);
        if (!found) return false;
      }
      return true;
    case Part::Kind::typed:
      return accepts(*part.parts.front(), node);
    case Part::Kind::primitive:
      if (part.source == Source::fixed) {
        return node.is_string() && (part.takes_any || std::find(part.allowed.begin(), part.allowed.end(),
                                                                node.text) != part.allowed.end());
      }
      // An item of others is known by its value where the hole lists those it takes.
      if (part.known_by_value && node.is_string() &&
          std::find(part.allowed.begin(), part.allowed.end(), node.text) == part.allowed.end()) {
        return false;
      }
      return part.shape == Shape::string
                 ? node.is_string()
                 : node.kind ==
                       (part.shape == Shape::number ? syntax::NodeKind::number : syntax::NodeKind::boolean);
    case Part::Kind::text:
      return node.is_string() && node.text.starts_with(part.parts.front()->literal);
    default:
      return true;
  }
}

namespace {

bool discriminates(const Part& part) {
  switch (part.kind) {
    case Part::Kind::constant:
      return true;
    case Part::Kind::object:
    case Part::Kind::array:
      return std::any_of(part.parts.begin(), part.parts.end(), [](const Part* below) {
        if (below->kind == Part::Kind::choose) return of_constants(*below);
        return required(*below) && below->kind != Part::Kind::loop && below->discriminates;
      });
    case Part::Kind::loop:
      return part.parts.front()->discriminates;
    default:
      return false;
  }
}

bool is_fixed(const Part& part) {
  if (part.kind == Part::Kind::primitive) return part.source == Source::fixed && !part.takes_any;
  return !part.parts.empty() && (part.kind == Part::Kind::object || part.kind == Part::Kind::array) &&
         std::all_of(part.parts.begin(), part.parts.end(), [](const Part* below) { return below->is_fixed; });
}

bool refers(const Part& part) {
  return (part.kind == Part::Kind::primitive && part.source == Source::reference) ||
         std::any_of(part.parts.begin(), part.parts.end(), [](const Part* below) { return below->refers; });
}

}  // namespace

void note_likeness(Part& part) {
  if (part.is_noted) return;
  part.is_noted = true;
  for (Part* below : part.parts) note_likeness(*below);
  part.discriminates = discriminates(part);
  part.is_fixed = is_fixed(part);
  part.refers = refers(part);
}

bool shows_fixed(const Part& object, const Node& node) {
  return object.kind != Part::Kind::object ||
         std::all_of(object.parts.begin(), object.parts.end(), [&](const auto& member) {
           return !member->is_fixed || node.member(member->name) != nullptr;
         });
}

// Whether the instance shows this alternative: its constants, and at least one of its members.
bool shows(const Part& alternative, const Node& node) {
  if (alternative.kind == Part::Kind::constant) {
    for (const Node* at = alternative.constant->first; at != nullptr; at = at->next) {
      const Node* shown = node.member(at->name_text);
      if (shown == nullptr || !resembles(*at, *shown)) return false;
    }
    return true;
  }
  if (!accepts_members(alternative, node)) return false;
  return std::any_of(alternative.parts.begin(), alternative.parts.end(), [&](const auto& member) {
    if (member->kind == Part::Kind::choose) {
      return std::any_of(member->parts.begin(), member->parts.end(),
                         [&](const auto& inside) { return shows(*inside, node); });
    }
    const Node* shown = node.member(member->name);
    return shown != nullptr && accepts(*member, *shown);
  });
}

bool shows_exactly(const Part& alternative, const Node& node) {
  if (alternative.kind != Part::Kind::constant) return false;
  for (const Node* at = alternative.constant->first; at != nullptr; at = at->next) {
    const Node* shown = node.member(at->name_text);
    if (shown == nullptr || !equal(*at, *shown)) return false;
  }
  return true;
}

bool shows_own_mark(const Template& made_from, const Node& node) {
  return std::any_of(made_from.body->parts.begin(), made_from.body->parts.end(), [&](const auto& member) {
    const Node* shown =
        member->always && member->kind != Part::Kind::choose ? node.member(member->name) : nullptr;
    return shown != nullptr && accepts(*member, *shown);
  });
}

}  // namespace charpie::mapping
