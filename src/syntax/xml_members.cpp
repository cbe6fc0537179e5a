#include "syntax/xml_members.hpp"

#include <algorithm>

#include "syntax/xml_write.hpp"

namespace charpie::syntax {

namespace {

class Reader {
 public:
  Reader(const XmlSpaces& spaces, Arena& arena, const Names& names)
      : spaces_(spaces), arena_(arena), names_(names) {}

  Node* read(const XmlNode& element, const Shape* shape) {
    bool has_attributes = false;
    for (const auto* at = element.attributes; at != nullptr; at = at->next) {
      has_attributes = has_attributes || at->space != xml_declarations;
    }
    bool has_elements = false;
    for (const auto* at = element.first; at != nullptr; at = at->next)
      has_elements = has_elements || at->is_element();
    if (!has_attributes && !has_elements && (shape == nullptr || !shape->is_object))
      return text(element, element);
    Node* object = arena_.make<Node>();
    object->kind = NodeKind::object;
    object->begin = element.begin;
    object->end = element.end;
    for (const auto* at = element.attributes; at != nullptr; at = at->next) {
      if (at->space == xml_declarations) continue;
      Node* value = arena_.make<Node>();
      value->kind = NodeKind::string;
      value->text = at->value;
      value->begin = value->end = element.begin;
      add(*object, "@" + name(at->space, at->prefix, at->name_text, true), value);
    }
    bool has_text = false;
    for (const auto* at = element.first; at != nullptr; at = at->next) {
      if (!at->is_element()) {
        has_text = true;
        continue;
      }
      const auto called = name(at->space, at->prefix, at->name_text, false);
      const Shape* inside = shape == nullptr ? nullptr : shape->member(called);
      place(*object, called, read(*at, inside), inside != nullptr && inside->is_list);
    }
    if (has_text) add(*object, "#text", text(element, element));
    return object;
  }

 private:
  // The text of an element: the pieces between its elements, as one.
  Node* text(const XmlNode& element, const XmlNode& where) {
    Node* value = arena_.make<Node>();
    value->kind = NodeKind::string;
    value->begin = where.begin;
    value->end = where.end;
    std::string all;
    for (const auto* at = element.first; at != nullptr; at = at->next) {
      if (at->is_element()) continue;
      if (value->text.empty() && all.empty()) {
        value->text = at->text;
        value->begin = element.count == 1 ? at->begin : element.begin;
        value->end = element.count == 1 ? at->end : element.end;
      } else {
        if (all.empty()) all = value->text;
        all += at->text;
      }
    }
    if (!all.empty()) value->text = arena_.keep(all);
    return value;
  }

  std::string name(std::string_view space, std::string_view prefix, std::string_view local,
                   bool attribute) const {
    if (space.empty()) return std::string(local);
    const auto known = std::find_if(spaces_.begin(), spaces_.end(), [&](const XmlSpace& one) {
      // An attribute without prefix has no namespace, so the default namespace is none of attributes.
      return one.name == space && !(attribute && one.prefix.empty());
    });
    const std::string_view said = known == spaces_.end() ? prefix : std::string_view{known->prefix};
    std::string whole(said);
    if (!whole.empty()) whole += ':';
    whole += local;
    // A namespace nobody declared must not look like one's own: its name stands in front.
    if (known == spaces_.end() && prefix.empty()) whole = "{" + std::string(space) + "}" + whole;
    return whole;
  }

  void add(Node& parent, std::string_view called, Node* child) {
    child->name_text = arena_.keep(called);
    child->name = names_.find(called);
    append(parent, child);
  }

  void place(Node& object, std::string_view called, Node* child, bool is_list) {
    Node* known = object.member(called);
    if (known == nullptr && !is_list) return add(object, called, child);
    if (known == nullptr || !known->is_array()) {
      Node* list = arena_.make<Node>();
      list->kind = NodeKind::array;
      list->begin = known == nullptr ? child->begin : known->begin;
      if (known == nullptr) {
        add(object, called, list);
      } else {
        // The second of its name: what stood there becomes the first of a list, in its place.
        Node* first = arena_.make<Node>(*known);
        first->next = nullptr;
        first->name = 0;
        first->name_text = {};
        Node* next = known->next;
        *known = *list;
        known->name_text = arena_.keep(called);
        known->name = names_.find(called);
        known->next = next;
        append(*known, first);
        list = known;
      }
      known = list;
    }
    known->end = child->end;
    append(*known, child);
  }

  const XmlSpaces& spaces_;
  Arena& arena_;
  const Names& names_;
};

bool is_name(std::string_view name) {
  // Letters, digits, '-', '_', '.', one colon; anything beyond ASCII is taken for a letter (XML 1.0
  // section 2.3).
  if (name.empty() || (name.front() >= '0' && name.front() <= '9') || name.front() == '-' ||
      name.front() == '.')
    return false;
  return std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '_' || c == '.' || c == ':' || static_cast<unsigned char>(c) >= 0x80;
  });
}

Error not_xml(std::string_view name, std::string message) {
  return {Error::invalid,
          "'" + std::string(name) + "': " + std::move(message),
          {},
          0,
          0,
          "correct the value, or the layout"};
}

}  // namespace

Node* members_of(const XmlNode& element, const Shape& shape, const XmlSpaces& spaces, Arena& arena,
                 const Names& names) {
  return Reader(spaces, arena, names).read(element, &shape);
}

Outcome write_spaces(const XmlSpaces& spaces, std::string& out) {
  for (const auto& one : spaces) {
    const auto name = one.prefix.empty() ? "xmlns" : "xmlns:" + one.prefix;
    if (!write_xml_attribute(name, one.name, out))
      return not_xml(name, "the namespace has a character that XML cannot hold");
  }
  return std::monostate{};
}

Outcome write_members(std::string_view name, const Node& node, const XmlSpaces& spaces, bool declares,
                      std::string& out) {
  constexpr std::string_view bad_character = "a character that XML 1.0 cannot hold";
  if (node.is_array()) {
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      if (auto written = write_members(name, *at, spaces, declares, out); !written) return written;
    }
    return std::monostate{};
  }
  if (!is_name(name)) return not_xml(name, "this is no name of an element");
  out += '<';
  out += name;
  if (declares) {
    if (auto written = write_spaces(spaces, out); !written) return written;
  }
  if (!node.is_object()) {
    out += '>';
    if (!write_xml_text(node.text, out)) return not_xml(name, std::string(bad_character));
  } else {
    bool content = false;
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      if (!at->name_text.starts_with('@')) {
        content = true;
        continue;
      }
      const auto attribute = at->name_text.substr(1);
      if (!is_name(attribute) || at->is_object() || at->is_array())
        return not_xml(attribute, "this is no attribute");
      if (!write_xml_attribute(attribute, at->text, out))
        return not_xml(attribute, std::string(bad_character));
    }
    if (!content) {
      out += "/>";
      return std::monostate{};
    }
    out += '>';
    for (const Node* at = node.first; at != nullptr; at = at->next) {
      if (at->name_text.starts_with('@')) continue;
      if (at->name_text == "#text") {
        if (!write_xml_text(at->text, out)) return not_xml(name, std::string(bad_character));
        continue;
      }
      if (auto written = write_members(at->name_text, *at, spaces, false, out); !written) return written;
    }
  }
  out += "</";
  out += name;
  out += '>';
  return std::monostate{};
}

}  // namespace charpie::syntax
