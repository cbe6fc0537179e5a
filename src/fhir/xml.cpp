#include "fhir/xml.hpp"

#include <algorithm>
#include <array>
#include <bit>

#include "base/decimal.hpp"
#include "base/utf8.hpp"
#include "fhir/forms.hpp"
#include "syntax/json.hpp"
#include "syntax/xml_write.hpp"

namespace charpie::fhir {

namespace {

using syntax::Node;
using syntax::NodeKind;
using syntax::XmlAttribute;
using syntax::XmlNode;

Error error_at(std::string_view text, std::uint32_t offset, std::string message, std::string mend) {
  syntax::TextPosition place{0, 0};
  if (!text.empty()) place = syntax::position(text, offset);
  return {Error::invalid, std::move(message), {}, place.line, place.column, std::move(mend)};
}

// ---- Writing ---------------------------------------------------------------------------------------------

class XmlWriter {
 public:
  XmlWriter(const Elements& elements, std::string& out, std::string_view bytes)
      : elements_(elements),
        out_(out),
        bytes_(bytes),
        resource_type_(elements.names().find("resourceType")),
        element_(elements.shape("Element")) {}

  bool document(const Node& resource) {
    out_ += syntax::xml_declaration;
    return this->resource(resource, true);
  }

  bool one(const Node* value, const Node* companion, const Member& member) {
    const auto number = member.companion ? member.partner : member.name;
    return one(value, companion, elements_.names().text(number), *member.element, *member.type);
  }

  Error error() const { return error_; }

 private:
  // What goes out under one name: a value, its companion, or both.
  struct Slot {
    const Member* member;
    const Node* value;
    const Node* companion;
  };

  bool refuse(const Node& node, std::string_view path, std::string_view message, std::string_view mend) {
    error_ = error_at(bytes_, node.begin, std::string(path) + ": " + std::string(message), std::string(mend));
    return false;
  }
  bool refuse_kind(const Node& node, std::string_view path) {
    return refuse(node, path, "the value is not of the element's type", "write it as its type asks");
  }
  bool refuse_characters(const Node& node, std::string_view path) {
    return refuse(node, path, "the text has a character that XML cannot hold", "take control characters out");
  }
  bool refuse_empty(const Node& node, std::string_view path) {
    return refuse(node, path, "the element is empty, which XML cannot carry", "give a value or leave it out");
  }

  bool resource(const Node& node, bool root) {
    if (!node.is_object()) return refuse(node, "Resource", "is not an object", "give one resource");
    const Node* type = resource_type_ != 0 ? node.member(resource_type_) : node.member("resourceType");
    const Shape* shape = type != nullptr && type->is_string() ? elements_.type(type->text) : nullptr;
    if (shape == nullptr || shape->kind != Kind::resource || shape->abstract) {
      return refuse(node, "Resource", "resourceType is missing or not in the tables of this version",
                    "convert it alone, or as JSON");
    }
    out_ += '<';
    out_ += shape->path;
    if (root) {
      out_ += " xmlns=\"";
      out_ += xml_namespace;
      out_ += '"';
    }
    return members(node, *shape, shape->path, type);
  }

  // Attributes, children and end tag of an element whose start tag is begun. `skipped` is no element.
  bool members(const Node& node, const Shape& shape, std::string_view name, const Node* skipped) {
    std::array<Slot, most_elements> slots;
    std::uint64_t filled = 0;
    if (!sort(node, shape, skipped, slots, filled)) return false;
    if (filled == 0 && skipped == nullptr) return refuse_empty(node, shape.path);
    if (!attributes(slots, filled)) return false;
    const bool open = filled == 0;  // the start tag stays so
    if (!open) out_ += '>';
    for (; filled != 0; filled &= filled - 1) {
      if (!element(slots[static_cast<std::size_t>(std::countr_zero(filled))])) return false;
    }
    end_tag(open, name);
    return true;
  }

  void end_tag(bool open, std::string_view name) {
    if (open) {
      out_ += "/>";
      return;
    }
    out_ += "</";
    out_ += name;
    out_ += '>';
  }

  // Members into the order of the tables.
  bool sort(const Node& node, const Shape& shape, const Node* skipped, std::array<Slot, most_elements>& slots,
            std::uint64_t& filled) {
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      if (child == skipped) continue;
      const Member* member = shape.member(child->name);
      if (member == nullptr) {
        return refuse(*child, shape.path, "a member is not in the tables of this version",
                      "take it out, or convert it as JSON");
      }
      const std::uint64_t bit = std::uint64_t{1} << member->element->order;
      Slot& slot = slots[member->element->order];
      if ((filled & bit) == 0) slot = {member, nullptr, nullptr};
      filled |= bit;
      const std::uint32_t name = member->companion ? member->partner : member->name;
      const std::uint32_t slot_name = slot.member->companion ? slot.member->partner : slot.member->name;
      if (name != slot_name) {
        return refuse(*child, member->element->path, "stands there by two types", "keep one of them");
      }
      (member->companion ? slot.companion : slot.value) = child;
      if (!member->companion) slot.member = member;
    }
    return true;
  }

  // Those of the slots that XML has as attributes (id, url) go out, and out of `filled`.
  bool attributes(const std::array<Slot, most_elements>& slots, std::uint64_t& filled) {
    for (std::uint64_t rest = filled; rest != 0; rest &= rest - 1) {
      const Slot& slot = slots[static_cast<std::size_t>(std::countr_zero(rest))];
      const Element& element = *slot.member->element;
      if (!element.attribute) continue;
      if (!slot.value->is_string()) return refuse_kind(*slot.value, element.path);
      if (!put_value(*slot.value, element.name, element.path)) return false;
      filled &= ~(std::uint64_t{1} << element.order);
    }
    return true;
  }

  bool put_value(const Node& value, std::string_view name, std::string_view path) {
    if (value.text.empty()) return refuse_empty(value, path);
    return syntax::write_xml_attribute(name, value.text, out_) || refuse_characters(value, path);
  }

  bool element(const Slot& slot) {
    const Element& element = *slot.member->element;
    const std::uint32_t number = slot.member->companion ? slot.member->partner : slot.member->name;
    const std::string_view name = elements_.names().text(number);
    const ElementType& type = *slot.member->type;
    if (!element.repeats()) return one(slot.value, slot.companion, name, element, type);
    for (const Node* array : {slot.value, slot.companion}) {
      if (array == nullptr) continue;
      if (!array->is_array()) return refuse(*array, element.path, "is not an array", "put it in an array");
      if (array->first == nullptr) return refuse_empty(*array, element.path);
    }
    const Node* value = slot.value != nullptr ? slot.value->first : nullptr;
    const Node* companion = slot.companion != nullptr ? slot.companion->first : nullptr;
    while (value != nullptr || companion != nullptr) {
      if (!one(value, companion, name, element, type)) return false;
      if (value != nullptr) value = value->next;
      if (companion != nullptr) companion = companion->next;
    }
    return true;
  }

  bool one(const Node* value, const Node* companion, std::string_view name, const Element& element,
           const ElementType& type) {
    const Primitive primitive = type.shape->primitive;
    if (primitive == Primitive::xhtml) return narrative(*value, element);
    if (primitive != Primitive::none) return primitive_element(value, companion, name, element, primitive);
    if (!value->is_object())
      return refuse(*value, element.path, "is not an object", "write it as its type asks");
    out_ += '<';
    out_ += name;
    if (!holds_resource(type)) return members(*value, *type.shape, name, nullptr);
    out_ += '>';
    if (!resource(*value, false)) return false;
    end_tag(false, name);
    return true;
  }

  bool primitive_element(const Node* value, const Node* companion, std::string_view name,
                         const Element& element, Primitive primitive) {
    if (value != nullptr && value->kind == NodeKind::null) {
      // Where nothing stands beside it, null would vanish.
      if (companion == nullptr || companion->kind == NodeKind::null)
        return refuse_empty(*value, element.path);
      value = nullptr;
    }
    if (companion != nullptr && companion->kind == NodeKind::null) {
      if (value == nullptr) return refuse_empty(*companion, element.path);
      companion = nullptr;
    }
    if (value != nullptr && value->kind != json_kind(primitive)) return refuse_kind(*value, element.path);
    if (companion == nullptr) {
      if (value->text.empty()) return refuse_empty(*value, element.path);
      return syntax::write_xml_value(name, value->text, out_) || refuse_characters(*value, element.path);
    }
    out_ += '<';
    out_ += name;
    std::array<Slot, most_elements> slots;
    std::uint64_t filled = 0;
    if (!companion->is_object()) return refuse_kind(*companion, element.path);
    if (!sort(*companion, *element_, nullptr, slots, filled)) return false;
    if (filled == 0) return refuse_empty(*companion, element.path);
    if (!attributes(slots, filled)) return false;
    if (value != nullptr && !put_value(*value, "value", element.path)) return false;
    // Of an Element, that leaves the extensions.
    const bool open = filled == 0;
    if (!open) out_ += '>';
    for (; filled != 0; filled &= filled - 1) {
      if (!this->element(slots[static_cast<std::size_t>(std::countr_zero(filled))])) return false;
    }
    end_tag(open, name);
    return true;
  }

  bool narrative(const Node& value, const Element& element) {
    if (!value.is_string()) return refuse_kind(value, element.path);
    if (!is_plainly_xhtml(value.text)) {
      div_arena_.reset();
      const auto div = syntax::read_xml(value.text, div_arena_, no_names_);
      if (!div || !div->root->is(xhtml_namespace, "div") || div->text.data() != value.text.data()) {
        return refuse(value, element.path, "the narrative is not one well-formed XHTML div",
                      "write it as XML asks, with xmlns=\"http://www.w3.org/1999/xhtml\"");
      }
      // What stands around the div is blank, or a declaration that may not stand inside a document.
      out_ += value.text.substr(div->root->begin, div->root->end - div->root->begin);
      return true;
    }
    out_ += value.text;
    return true;
  }

  const Elements& elements_;
  std::string& out_;
  std::string_view bytes_;
  std::uint32_t resource_type_;
  const Shape* element_;
  Arena div_arena_;
  syntax::Names no_names_;
  Error error_;
};

// ---- Reading ---------------------------------------------------------------------------------------------

// White space around a value is none of it in the schema's whitespace-collapsing types, yet FHIR forbids it
// there: it is kept, and strict reading tells.
NodeKind kind_of(std::string_view text, Primitive primitive) {
  const NodeKind wanted = json_kind(primitive);
  if (wanted == NodeKind::boolean && text != "true" && text != "false") return NodeKind::string;
  if (wanted == NodeKind::number && !is_decimal(text)) return NodeKind::string;
  return wanted;
}

constexpr std::string_view schema_instance = "http://www.w3.org/2001/XMLSchema-instance";

bool is_of_xml_itself(const XmlAttribute& attribute) {
  return attribute.space == syntax::xml_declarations || attribute.space == schema_instance;
}

class XmlReader {
 public:
  XmlReader(const Elements& elements, std::string_view text, Arena& arena, std::vector<XmlOddity>& oddities)
      : elements_(elements),
        text_(text),
        arena_(arena),
        oddities_(oddities),
        resource_type_(elements.names().find("resourceType")),
        element_(elements.shape("Element")) {}

  // The resource that the element is; nullptr when it is none, and error() says why.
  Node* resource(const XmlNode& xml) {
    if (xml.space != xml_namespace) {
      return refuse(xml, "an element where a resource belongs is not of FHIR's namespace",
                    "declare xmlns=\"http://hl7.org/fhir\"");
    }
    const Shape* shape = elements_.type(xml.name_text);
    if (shape == nullptr || shape->kind != Kind::resource || shape->abstract) {
      return refuse(
          xml, "an element where a resource belongs is of no resource type in the tables of this version",
          "read the others without it");
    }
    Node* object = make(NodeKind::object, xml);
    Node* type = make(NodeKind::string, xml);
    type->name = resource_type_;
    type->name_text = "resourceType";
    type->text = shape->path;
    append(*object, type);
    return fill(*object, xml, *shape) ? object : nullptr;
  }

  const Error& error() const { return error_; }

 private:
  // What was met under one element of the tables.
  struct Slot {
    const Member* member;
    Node* value;      // or the array of them
    Node* companion;  // or the array of them
  };

  Node* refuse(const XmlNode& xml, std::string message, std::string mend) {
    error_ = error_at(text_, xml.begin, std::move(message), std::move(mend));
    return nullptr;
  }
  void odd(XmlOddity::Kind kind, std::uint32_t begin, std::string_view path) {
    oddities_.push_back({kind, begin, std::string(path)});
  }

  Node* make(NodeKind kind, const XmlNode& xml) {
    Node* node = arena_.make<Node>();
    node->kind = kind;
    node->begin = xml.begin;
    node->end = xml.end;
    return node;
  }
  void append_named(Node& object, Node* child, std::uint32_t name) {
    child->name = name;
    child->name_text = elements_.names().text(name);
    append(object, child);
  }
  void append_unknown(Node& object, Node* child, std::string_view name) {
    child->name = elements_.names().find(name);
    child->name_text = name;
    append(object, child);
  }

  // Members of the object from attributes and children.
  bool fill(Node& object, const XmlNode& xml, const Shape& shape) {
    for (const XmlAttribute* one = xml.attributes; one != nullptr; one = one->next) {
      if (is_of_xml_itself(*one)) continue;
      const Member* member = one->space.empty() ? shape.member(one->name) : nullptr;
      if (member == nullptr || !member->element->attribute) {
        odd(XmlOddity::unknown_attribute, xml.begin, shape.path);
        continue;
      }
      append_named(object, text_node(*one, xml), one->name);
    }
    std::array<Slot, most_elements> slots;
    std::uint64_t filled = 0;
    std::uint16_t latest = 0;
    Node* unknown = nullptr;  // a list by `next`
    for (const XmlNode* child = xml.first; child != nullptr; child = child->next) {
      if (!child->is_element()) {
        odd(XmlOddity::stray_text, child->begin, shape.path);
        continue;
      }
      const Member* member = shape.member(child->name);
      const bool div = member != nullptr && member->type->shape->primitive == Primitive::xhtml;
      if (child->space != (div ? xhtml_namespace : xml_namespace)) {
        odd(XmlOddity::foreign_namespace, child->begin, shape.path);
      }
      if (member == nullptr || member->companion || member->element->attribute) {
        Node* node = unknown_element(*child, 0);
        node->name = elements_.names().find(child->name_text);
        node->name_text = child->name_text;
        node->next = unknown;
        unknown = node;
        continue;
      }
      const std::uint16_t order = member->element->order;
      if (order < latest) odd(XmlOddity::out_of_order, child->begin, member->element->path);
      latest = std::max(latest, order);
      const std::uint64_t bit = std::uint64_t{1} << order;
      Slot& slot = slots[order];
      if ((filled & bit) == 0) {
        slot = {member, nullptr, nullptr};
      } else if (slot.member != member) {
        // value[x] by two types: the second is a member of its own, as it would be in JSON.
        Node* node = unknown_element(*child, 0);
        node->name = member->name;
        node->name_text = child->name_text;
        node->next = unknown;
        unknown = node;
        continue;
      }
      filled |= bit;
      if (!add(slot, *child)) return false;
    }
    for (; filled != 0; filled &= filled - 1) {
      const Slot& slot = slots[static_cast<std::size_t>(std::countr_zero(filled))];
      if (slot.value != nullptr) append_named(object, slot.value, slot.member->name);
      if (slot.companion != nullptr) append_named(object, slot.companion, slot.member->partner);
    }
    for (Node* node = reversed(unknown); node != nullptr;) {
      Node* next = node->next;
      node->next = nullptr;
      append(object, node);
      node = next;
    }
    return true;
  }

  static Node* reversed(Node* list) {
    Node* before = nullptr;
    while (list != nullptr) {
      Node* next = list->next;
      list->next = before;
      before = list;
      list = next;
    }
    return before;
  }

  // One more element of a kind.
  bool add(Slot& slot, const XmlNode& xml) {
    const Element& element = *slot.member->element;
    Node* value = nullptr;
    Node* companion = nullptr;
    if (!read(*slot.member, xml, value, companion)) return false;
    const bool first = slot.value == nullptr && slot.companion == nullptr;
    if (!element.repeats() && first) {
      slot.value = value;
      slot.companion = companion;
      if (value == nullptr && companion == nullptr) slot.value = make(NodeKind::null, xml);
      return true;
    }
    if (!element.repeats()) odd(XmlOddity::repeated, xml.begin, element.path);
    // Parallel arrays: both as long, null where there is nothing (json.html#primitive).
    Node*& values = array_of(slot.value, xml);
    if (companion != nullptr || slot.companion != nullptr) {
      Node*& companions = array_of(slot.companion, xml);
      while (companions->count < values->count) append(*companions, make(NodeKind::null, xml));
      append(*companions, companion != nullptr ? companion : make(NodeKind::null, xml));
    }
    append(*values, value != nullptr ? value : make(NodeKind::null, xml));
    values->end = xml.end;
    return true;
  }

  // The array in that place; what stood there alone becomes its first element.
  Node*& array_of(Node*& place, const XmlNode& xml) {
    if (place == nullptr) {
      place = make(NodeKind::array, xml);
    } else if (!place->is_array()) {
      Node* alone = place;
      place = make(NodeKind::array, xml);
      place->begin = alone->begin;
      append(*place, alone);
    }
    return place;
  }

  bool read(const Member& member, const XmlNode& xml, Node*& value, Node*& companion) {
    const Shape& shape = *member.type->shape;
    if (shape.primitive == Primitive::xhtml) {
      value = make(NodeKind::string, xml);
      value->text = narrative(xml);
      return true;
    }
    if (shape.primitive != Primitive::none) return read_primitive(member, xml, value, companion);
    if (!holds_resource(*member.type)) {
      value = make(NodeKind::object, xml);
      return fill(*value, xml, shape);
    }
    const XmlNode* inside = nullptr;
    for (const XmlNode* child = xml.first; child != nullptr; child = child->next) {
      if (!child->is_element()) {
        odd(XmlOddity::stray_text, child->begin, member.element->path);
      } else if (inside != nullptr) {
        refuse(*child, std::string(member.element->path) + ": holds two resources", "keep one");
        return false;
      } else {
        inside = child;
      }
    }
    for (const XmlAttribute* one = xml.attributes; one != nullptr; one = one->next) {
      if (!is_of_xml_itself(*one)) odd(XmlOddity::unknown_attribute, xml.begin, member.element->path);
    }
    if (inside == nullptr) {
      value = make(NodeKind::object, xml);
      return true;
    }
    value = resource(*inside);
    return value != nullptr;
  }

  bool read_primitive(const Member& member, const XmlNode& xml, Node*& value, Node*& companion) {
    const XmlAttribute* id = nullptr;
    for (const XmlAttribute* one = xml.attributes; one != nullptr; one = one->next) {
      if (is_of_xml_itself(*one)) continue;
      if (one->space.empty() && one->name_text == "value") {
        value = text_node(*one, xml);
        value->kind = kind_of(one->value, member.type->shape->primitive);
      } else if (one->space.empty() && one->name_text == "id") {
        id = one;
      } else {
        odd(XmlOddity::unknown_attribute, xml.begin, member.element->path);
      }
    }
    if (id == nullptr && xml.first == nullptr) return true;
    // Everything but the value is of Element.
    XmlNode rest = xml;
    rest.attributes = nullptr;
    XmlAttribute alone;
    if (id != nullptr) {
      alone = *id;
      alone.next = nullptr;
      rest.attributes = &alone;
    }
    companion = make(NodeKind::object, xml);
    if (!fill(*companion, rest, *element_)) return false;
    if (companion->first == nullptr) companion = nullptr;  // there was only stray text
    return true;
  }

  Node* text_node(const XmlAttribute& attribute, const XmlNode& xml) {
    Node* node = make(NodeKind::string, xml);
    node->text = attribute.value;
    return node;
  }

  // An element that the tables do not know, as it is: a value alone is a string, all else an object.
  Node* unknown_element(const XmlNode& xml, int depth) {
    const XmlAttribute* value = xml.attribute("value");
    if (value != nullptr && xml.first == nullptr) return text_node(*value, xml);
    Node* object = make(NodeKind::object, xml);
    for (const XmlAttribute* one = xml.attributes; one != nullptr; one = one->next) {
      if (!is_of_xml_itself(*one)) append_unknown(*object, text_node(*one, xml), one->name_text);
    }
    for (const XmlNode* child = xml.first; child != nullptr; child = child->next) {
      if (child->is_element()) append_unknown(*object, unknown_element(*child, depth + 1), child->name_text);
    }
    return object;
  }

  // The div as it stands there. XML readers take CR LF and CR for LF (XML 1.0 section 2.11), and so it is
  // written here; declarations that stand further out are put in.
  std::string_view narrative(const XmlNode& div) {
    const std::string_view own = text_.substr(div.begin, div.end - div.begin);
    std::string declarations;
    declare_used(div, div, declarations);
    if (declarations.empty() && own.find('\r') == std::string_view::npos) return own;
    std::string out;
    out.reserve(own.size() + declarations.size());
    const std::size_t name_end = std::min(own.find_first_of(" \t\r\n/>"), own.size());
    out += own.substr(0, name_end);
    out += declarations;
    for (std::size_t at = name_end; at < own.size(); ++at) {
      if (own[at] != '\r') {
        out += own[at];
      } else {
        out += '\n';
        if (at + 1 < own.size() && own[at + 1] == '\n') ++at;
      }
    }
    return arena_.keep(out);
  }

  // Declarations that the div needs and does not make itself. A prefix that an element further in declares
  // again is put on the div too, which does no harm.
  static void declare_used(const XmlNode& node, const XmlNode& div, std::string& out) {
    declare(node.prefix, node.space, div, out);
    for (const XmlAttribute* one = node.attributes; one != nullptr; one = one->next) {
      if (one->space != syntax::xml_declarations && !one->prefix.empty())
        declare(one->prefix, one->space, div, out);
    }
    for (const XmlNode* child = node.first; child != nullptr; child = child->next) {
      if (child->is_element()) declare_used(*child, div, out);
    }
  }
  static void declare(std::string_view prefix, std::string_view space, const XmlNode& div, std::string& out) {
    if (prefix == "xml" || (prefix.empty() && space.empty())) return;
    for (const XmlAttribute* one = div.attributes; one != nullptr; one = one->next) {
      if (one->space == syntax::xml_declarations && one->name_text == prefix) return;
    }
    const std::string name = prefix.empty() ? "xmlns" : "xmlns:" + std::string(prefix);
    if (out.find(" " + name + "=") != std::string::npos) return;
    (void)syntax::write_xml_attribute(name, space, out);
  }

  const Elements& elements_;
  std::string_view text_;
  Arena& arena_;
  std::vector<XmlOddity>& oddities_;
  std::uint32_t resource_type_;
  const Shape* element_;
  Error error_;
};

struct OddityWords {
  XmlOddity::Kind kind;
  std::string_view words;
};
constexpr OddityWords oddity_words[] = {
    {XmlOddity::out_of_order, "the element stands after one that its type puts later"},
    {XmlOddity::repeated, "the element stands twice where it may stand once"},
    {XmlOddity::unknown_attribute, "an attribute is not of FHIR and is left out"},
    {XmlOddity::stray_text, "text stands between elements and is left out"},
    {XmlOddity::foreign_namespace, "the element is not of FHIR's namespace"},
};

}  // namespace

std::string_view words_of(XmlOddity::Kind kind) {
  return std::find_if(std::begin(oddity_words), std::end(oddity_words),
                      [&](const OddityWords& row) { return row.kind == kind; })
      ->words;
}

bool is_plainly_xhtml(std::string_view div) {
  constexpr std::string_view start = "<div xmlns=\"http://www.w3.org/1999/xhtml\">";
  constexpr std::string_view references[] = {"&lt;", "&gt;", "&amp;", "&quot;", "&apos;"};
  constexpr std::size_t deepest = 16;
  if (!div.starts_with(start)) return false;
  std::array<std::string_view, deepest> open{"div"};
  std::size_t depth = 1;
  bool is_ascii = true;
  for (std::size_t at = start.size(); at < div.size();) {
    const char c = div[at];
    if (c == '&') {
      const auto found = std::find_if(std::begin(references), std::end(references),
                                      [&](std::string_view one) { return div.substr(at).starts_with(one); });
      if (found == std::end(references)) return false;
      at += found->size();
    } else if (c == '<') {
      const bool closing = at + 1 < div.size() && div[at + 1] == '/';
      const std::size_t name = at + (closing ? 2 : 1);
      std::size_t end = name;
      while (end < div.size() && div[end] >= 'a' && div[end] <= 'z') ++end;
      if (end == name || end == div.size() || div[end] != '>') return false;
      const std::string_view tag = div.substr(name, end - name);
      at = end + 1;
      if (!closing) {
        if (depth == deepest) return false;
        open[depth++] = tag;
      } else if (open[--depth] != tag) {
        return false;
      } else if (depth == 0) {
        return at == div.size() && (is_ascii || is_xml_character_text(div));
      }
    } else if (static_cast<signed char>(c) < 0) {
      is_ascii = false;
      ++at;
    } else if ((c >= ' ' && c != '>' && c != 0x7F) || c == '\n' || c == '\t') {
      ++at;
    } else {
      return false;
    }
  }
  return false;
}

bool append_element(const Node* value, const Node* companion, const Member& member, const Elements& elements,
                    std::string& out) {
  return XmlWriter(elements, out, {}).one(value, companion, member);
}

Outcome to_xml(const Node& resource, const Elements& elements, std::string& out, std::string_view bytes) {
  const std::size_t before = out.size();
  XmlWriter writer(elements, out, bytes);
  if (writer.document(resource)) return std::monostate{};
  out.resize(before);
  return writer.error();
}

Result<XmlResource> read_xml(std::string_view bytes, const Elements& elements, Arena& arena,
                             const syntax::XmlReading& how) {
  const auto document = syntax::read_xml(bytes, arena, elements.names(), how);
  if (!document) return document.error();
  XmlResource resource;
  resource.text = document->text;
  XmlReader reader(elements, document->text, arena, resource.oddities);
  resource.root = reader.resource(*document->root);
  if (resource.root == nullptr) return reader.error();
  return resource;
}

}  // namespace charpie::fhir
