#include "mapping/document.hpp"

#include <algorithm>
#include <span>
#include <utility>

#include "base/text.hpp"

namespace charpie::mapping {

using syntax::Names;
using syntax::Node;
using syntax::NodeKind;

namespace {

// Takes out the children for which `gone` is true.
template <class Gone>
void take_out(Node& parent, const Gone& gone) {
  Node* at = parent.first;
  parent.first = parent.last = nullptr;
  parent.count = 0;
  while (at != nullptr) {
    Node* next = at->next;
    if (!gone(*at)) append(parent, at);
    at = next;
  }
}

Node* text_like(const Node& like, std::string_view text, Arena& arena) {
  Node* made = arena.make<Node>();
  made->kind = NodeKind::string;
  made->begin = like.begin;
  made->end = like.end;
  made->text = text;
  return made;
}

void name(Node& node, std::string_view called, const Names& names) {
  node.name_text = called;
  node.name = names.find(called);
}

bool says_nothing(const Node& node) {
  if (node.kind == NodeKind::null) return true;
  if (node.is_object() || node.is_array()) return node.first == nullptr;
  return node.is_string() && node.text.empty();
}

// A text becomes the list of its items; so does a list of texts, as XML has one where the template does.
void cut(Node& member, std::string_view by, Arena& arena) {
  if (!member.is_string() && !member.is_array()) return;
  Node* texts = member.is_string() ? text_like(member, member.text, arena) : member.first;
  const auto sign = trim(by).empty() ? by : trim(by);
  member.kind = NodeKind::array;
  member.text = {};
  member.first = member.last = nullptr;
  member.count = 0;
  for (Node* text = texts; text != nullptr;) {
    Node* next = text->next;
    std::string_view rest = text->text;
    while (text->is_string()) {
      const auto at = rest.find(sign);
      const auto piece = trim(rest.substr(0, at));
      if (!piece.empty()) append(member, text_like(*text, piece, arena));
      if (at == std::string_view::npos) break;
      rest.remove_prefix(at + sign.size());
    }
    if (!text->is_string()) append(member, text);
    text = next;
  }
}

void join(Node& object, const Layout::Joined& row, Arena& arena, const Names& names) {
  // What is missing at the end is simply not there; what is missing in front leaves its place.
  std::string text, signs;
  const Node* where = nullptr;
  for (const auto& piece : row.of) {
    const Node* member = object.member(piece);
    if (member != nullptr && member->is_string() && !member->text.empty()) {
      text += std::exchange(signs, {});
      text += member->text;
      if (where == nullptr) where = member;
    }
    signs += row.by;
  }
  if (where == nullptr) return;
  Node* made = text_like(*where, arena.keep(text), arena);
  name(*made, row.name, names);
  take_out(object, [&](const Node& one) {
    return std::find(row.of.begin(), row.of.end(), one.name_text) != row.of.end();
  });
  append(object, made);
}

// The objects that a way leads to; lists on it are passed through.
template <class Use>
void at_way(Node& node, std::span<const std::string> way, const Use& use) {
  if (node.is_array()) {
    for (Node* item = node.first; item != nullptr; item = item->next) at_way(*item, way, use);
  } else if (node.is_object() && way.size() == 1) {
    use(node, way.front());
  } else if (node.is_object()) {
    if (Node* member = node.member(way.front())) at_way(*member, way.subspan(1), use);
  }
}

// Numbers that only count say nothing; others stay and are told.
void take_numbers(Node& list, const std::vector<std::string>& way) {
  std::uint32_t number = 0;
  for (Node* item = list.first; item != nullptr; item = item->next) {
    const auto wanted = std::to_string(++number);
    at_way(*item, way, [&](Node& object, const std::string& name) {
      take_out(object, [&](const Node& one) {
        const Node* value = &one;
        while (value->first != nullptr && value->count == 1) value = value->first;
        return one.name_text == name && value->text == wanted;
      });
    });
  }
}

void put_numbers(Node& list, const std::vector<std::string>& way, bool as_field, Arena& arena,
                 const Names& names) {
  std::uint32_t number = 0;
  for (Node* item = list.first; item != nullptr; item = item->next) {
    ++number;
    at_way(*item, way, [&](Node& object, const std::string& called) {
      Node* value = text_like(object, arena.keep(std::to_string(number)), arena);
      if (as_field) {
        // HL7 version 2: a field is a list of repetitions, a repetition an object of components.
        Node* repetition = arena.make<Node>();
        repetition->kind = NodeKind::object;
        name(*value, "1", names);
        append(*repetition, value);
        Node* field = arena.make<Node>();
        field->kind = NodeKind::array;
        append(*field, repetition);
        value = field;
      }
      name(*value, called, names);
      append(object, value);
    });
  }
}

}  // namespace

bool open_cells(Node& root, const Layout& layout, Arena& arena, const Names& names) {
  if (root.is_object() || root.is_array()) {
    for (const auto& row : layout.joined) {
      if (root.is_object()) join(root, row, arena, names);
    }
    for (Node* at = root.first; at != nullptr; at = at->next) {
      const auto numbered = layout.numbered.find(at->name_text);
      if (numbered != layout.numbered.end() && at->is_array()) take_numbers(*at, numbered->second);
      const auto row = layout.lists.find(at->name_text);
      if (row != layout.lists.end()) cut(*at, row->second, arena);
      open_cells(*at, layout, arena, names);
    }
    if (!layout.keeps_empty) take_out(root, says_nothing);
  }
  return !says_nothing(root);
}

namespace {

// The text of a way's next piece; names with dots in them are not led to.
void pass_over(Node& node, std::string_view way) {
  if (node.is_array()) {
    for (Node* item = node.first; item != nullptr; item = item->next) pass_over(*item, way);
    return;
  }
  if (way.empty()) return use_all(node);
  const auto dot = way.find('.');
  Node* member = node.is_object() ? node.member(way.substr(0, dot)) : nullptr;
  if (member == nullptr) return;
  if (dot == std::string_view::npos) return use_all(*member);
  pass_over(*member, way.substr(dot + 1));
}

}  // namespace

void pass_over(Node& root, const Layout& layout) {
  for (const auto& way : layout.left_out) pass_over(root, way);
}

Outcome close_cells(Node& root, const Layout& layout, Arena& arena, const Names& names) {
  for (Node* at = root.first; at != nullptr; at = at->next) {
    const auto numbered = layout.numbered.find(at->name_text);
    if (numbered != layout.numbered.end() && at->is_array()) {
      put_numbers(*at, numbered->second, layout.syntax == LayoutSyntax::hl7v2, arena, names);
    }
    const auto list = layout.lists.find(at->name_text);
    if (list != layout.lists.end() && at->is_array()) {
      const auto sign = trim(list->second).empty() ? std::string_view{list->second} : trim(list->second);
      std::string text;
      for (const Node* item = at->first; item != nullptr; item = item->next) {
        if (item->text.find(sign) != std::string_view::npos || item->text != trim(item->text)) {
          return Error{Error::invalid,
                       "an item of '" + list->first + "' would be read as several, or as another",
                       {},
                       0,
                       0,
                       "the sign between items must not stand in one, nor blanks at its ends"};
        }
        if (item != at->first) text += list->second;
        text += item->text;
      }
      at->kind = NodeKind::string;
      at->text = arena.keep(text);
      at->first = at->last = nullptr;
      at->count = 0;
      continue;
    }
    if (auto closed = close_cells(*at, layout, arena, names); !closed) return closed;
  }
  if (!root.is_object()) return std::monostate{};
  for (const auto& row : layout.joined) {
    Node* whole = root.member(row.name);
    if (whole == nullptr || !whole->is_string()) continue;
    Node* at = root.first;
    root.first = root.last = nullptr;
    root.count = 0;
    while (at != nullptr) {
      Node* next = at->next;
      if (at != whole) {
        append(root, at);
      } else {
        std::string_view rest = whole->text;
        for (std::size_t i = 0; i < row.of.size() && !rest.empty(); ++i) {
          const auto sign = i + 1 == row.of.size() ? std::string_view::npos : rest.find(row.by);
          Node* piece = text_like(*whole, rest.substr(0, sign), arena);
          name(*piece, row.of[i], names);
          if (!piece->text.empty()) append(root, piece);
          rest = sign == std::string_view::npos ? std::string_view{} : rest.substr(sign + row.by.size());
        }
      }
      at = next;
    }
  }
  return std::monostate{};
}

// --- records
// -----------------------------------------------------------------------------------------------

namespace {

using Way = std::span<const std::string>;

// The object with one member replaced; what the members hold is shared.
Node* with_member(const Node& object, const Node& old, Node* replacement, Arena& arena) {
  Node* made = arena.make<Node>(object);
  made->first = made->last = nullptr;
  made->count = 0;
  for (const Node* at = object.first; at != nullptr; at = at->next) {
    Node* copy = arena.make<Node>(at == &old ? *replacement : *at);
    copy->name = at->name;
    copy->name_text = at->name_text;
    append(*made, copy);
  }
  return made;
}

std::string_view value_of(const Node& element, std::string_view by) {
  const Node* member = at_path(element, by);
  while (member != nullptr && (member->is_array() || member->is_object())) member = member->first;
  return member == nullptr ? std::string_view{} : member->text;
}

// Each view of `at` that has one record in it. Elements on the way in which there is none go to `barren`.
std::vector<Node*> views(Node& at, Way way, const std::string& by, Arena& arena,
                         std::vector<const Node*>& barren) {
  if (way.empty()) return {&at};
  std::vector<Node*> made;
  Node* list = at.is_object() ? at.member(way.front()) : nullptr;
  if (list == nullptr) return made;
  if (!list->is_array()) {
    for (Node* inside : views(*list, way.subspan(1), by, arena, barren))
      made.push_back(with_member(at, *list, inside, arena));
    return made;
  }
  const auto narrowed = [&](const std::vector<Node*>& items) {
    Node* narrow = arena.make<Node>(*list);
    narrow->first = narrow->last = nullptr;
    narrow->count = 0;
    for (const Node* item : items) append(*narrow, arena.make<Node>(*item));
    made.push_back(with_member(at, *list, narrow, arena));
  };
  if (way.size() == 1 && !by.empty()) {
    // In the order in which the values first come.
    std::vector<std::pair<std::string_view, std::vector<Node*>>> groups;
    for (Node* item = list->first; item != nullptr; item = item->next) {
      const auto value = value_of(*item, by);
      auto known =
          std::find_if(groups.begin(), groups.end(), [&](const auto& one) { return one.first == value; });
      if (known == groups.end()) known = groups.insert(groups.end(), {value, {}});
      known->second.push_back(item);
    }
    for (const auto& [value, items] : groups) narrowed(items);
    return made;
  }
  for (Node* item = list->first; item != nullptr; item = item->next) {
    const auto found = views(*item, way.subspan(1), by, arena, barren);
    if (found.empty()) barren.push_back(item);
    for (Node* inside : found) narrowed({inside});
  }
  return made;
}

bool same(const Node& a, const Node& b) {
  if (a.kind != b.kind || a.count != b.count || a.text != b.text || a.name_text != b.name_text) return false;
  for (const Node *x = a.first, *y = b.first; x != nullptr; x = x->next, y = y->next) {
    if (!same(*x, *y)) return false;
  }
  return true;
}

// Whether an element of one list has the value that tells records apart in common with one of the other.
bool shares_value(const Node& list, const Node& more, const std::string& by) {
  for (const Node* one = more.first; one != nullptr; one = one->next) {
    for (const Node* known = list.first; known != nullptr; known = known->next) {
      if (value_of(*known, by) == value_of(*one, by)) return true;
    }
  }
  return false;
}

// `inside` an object that was found the same around the list, one that holds nothing else may be joined.
bool join_at(Node& into, Node& next, Way way, const std::string& by, bool inside = false) {
  if (!into.is_object() || !next.is_object() || into.count != next.count || (into.count < 2 && !inside))
    return false;
  Node *list = nullptr, *more = nullptr;
  for (Node *x = into.first, *y = next.first; x != nullptr; x = x->next, y = y->next) {
    if (x->name_text != y->name_text) return false;
    if (x->name_text == way.front()) {
      list = x;
      more = y;
    } else if (!same(*x, *y)) {
      return false;
    }
  }
  if (list == nullptr || list->kind != more->kind) return false;
  if (list->is_object()) return way.size() > 1 && join_at(*list, *more, way.subspan(1), by, true);
  if (!list->is_array() || more->first == nullptr) return false;
  if (way.size() > 1 && list->last != nullptr && join_at(*list->last, *more->first, way.subspan(1), by))
    return true;
  // They would be read as one record.
  if (way.size() == 1 && !by.empty() && shares_value(*list, *more, by)) return false;
  for (Node* item = more->first; item != nullptr;) {
    Node* after = item->next;
    append(*list, item);
    item = after;
  }
  return true;
}

}  // namespace

std::vector<Node*> split_records(Node& root, const Layout& layout, Arena& arena,
                                 std::vector<const Node*>& barren) {
  return views(root, layout.records, layout.records_by, arena, barren);
}

bool join_records(Node& into, Node& next, const Layout& layout) {
  return !layout.records.empty() && join_at(into, next, layout.records, layout.records_by);
}

namespace {

// The modifier that turns an object, or nullptr.
const Layout::Modifier* turning(const Node& object, std::string_view name, const Layout& layout) {
  for (const auto& one : layout.modifiers) {
    if (one.of != name || !object.is_object()) continue;
    const Node* at = at_path(object, one.at);
    while (at != nullptr && at->first != nullptr) at = at->first;
    if (at != nullptr && std::find(one.but.begin(), one.but.end(), at->text) == one.but.end()) return &one;
  }
  return nullptr;
}

bool holds_objects(const Node& node) {
  for (const Node* at = node.first; at != nullptr; at = at->next)
    if (at->is_object() || at->is_array()) return true;
  return false;
}

// `name`: of the node as a member; an item of a list has the list's.
void find_turned(const Node& node, std::string_view name, const Layout& layout, std::vector<Turned>& turned) {
  for (const Node* at = node.first; at != nullptr; at = at->next) {
    const auto called = node.is_array() ? name : at->name_text;
    if (const auto* modifier = turning(*at, called, layout))
      turned.push_back({{}, modifier->at, at});
    else
      find_turned(*at, called, layout, turned);
  }
}

// Whether anything was taken. What held that and nothing else but plain values has nothing more to say.
bool take_away(Node& node, const std::vector<Turned>& turned) {
  bool any = false;
  take_out(node, [&](Node& one) {
    const bool is_turned =
        std::any_of(turned.begin(), turned.end(), [&](const Turned& each) { return each.node == &one; });
    const bool holds_turned = !is_turned && take_away(one, turned);
    any = any || is_turned || holds_turned;
    return is_turned || (holds_turned && !holds_objects(one));
  });
  return any;
}

}  // namespace

std::vector<Turned> take_turned(Node& root, const Layout& layout) {
  std::vector<Turned> turned;
  if (layout.modifiers.empty()) return turned;
  find_turned(root, {}, layout, turned);
  for (auto& one : turned) {
    syntax::path_to(root, syntax::the_node(*one.node), one.path);
    if (one.path.starts_with('.')) one.path.erase(0, 1);
  }
  if (!turned.empty()) take_away(root, turned);
  return turned;
}

}  // namespace charpie::mapping
