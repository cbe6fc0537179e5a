#include "mapping/gather.hpp"

#include <vector>

namespace charpie::mapping {

using syntax::XmlNode;

namespace {

bool is_wanted(const XmlNode& node, const Layout::Gathered& wanted) {
  if (!node.is_element() || node.name_text != wanted.element) return false;
  for (const XmlNode* child = node.first; child != nullptr; child = child->next) {
    if (!child->is_element() || child->name_text != wanted.child) continue;
    const auto* attribute = child->attribute(wanted.attribute);
    if (attribute != nullptr && attribute->value == wanted.value) return true;
  }
  return false;
}

// Takes the wanted elements out of what is below; the outermost only.
void take(XmlNode& node, const Layout::Gathered& wanted, std::vector<XmlNode*>& found) {
  for (const XmlNode* child = node.first; child != nullptr && !wanted.unless.empty(); child = child->next) {
    if (child->is_element() && child->name_text == wanted.unless) return;
  }
  XmlNode* at = node.first;
  node.first = node.last = nullptr;
  node.count = 0;
  while (at != nullptr) {
    XmlNode* next = at->next;
    if (is_wanted(*at, wanted)) {
      found.push_back(at);
    } else {
      take(*at, wanted, found);
      append(node, at);
    }
    at = next;
  }
}

// Whether there is an entry left that holds something.
bool has_entries(const XmlNode& node, std::string_view entry) {
  for (const XmlNode* at = node.first; at != nullptr; at = at->next) {
    if (!at->is_element()) continue;
    if (at->name_text == entry && at->first != nullptr) return true;
    if (has_entries(*at, entry)) return true;
  }
  return false;
}

XmlNode* element(std::string_view called, const XmlNode& like, Arena& arena) {
  XmlNode* made = arena.make<XmlNode>();
  made->name_text = called;
  made->space = like.space;
  made->begin = like.begin;
  made->end = like.end;
  return made;
}

}  // namespace

void gather(XmlNode& root, const Layout& layout, Arena& arena) {
  std::vector<XmlNode*> found;
  take(root, *layout.gathered, found);
  const std::string_view outermost = layout.records.front(), entry = layout.records.back();
  XmlNode* at = root.first;
  root.first = root.last = nullptr;
  root.count = 0;
  while (at != nullptr) {
    XmlNode* next = at->next;
    if (!at->is_element() || at->name_text != outermost) {
      append(root, at);
    } else if (has_entries(*at, entry)) {
      at->name_text = "otherEntries";
      append(root, at);
    }
    at = next;
  }
  for (std::size_t i = 0; i < found.size(); ++i) {
    XmlNode* holder = &root;
    for (std::size_t k = 0; k < layout.records.size(); ++k) {
      const bool is_last = k + 1 == layout.records.size();
      // One way for all; an entry each.
      const bool stands = !is_last && holder->last != nullptr && holder->last->is_element() &&
                          holder->last->name_text == layout.records[k];
      if (!stands) append(*holder, element(layout.records[k], *found[i], arena));
      holder = holder->last;
    }
    append(*holder, found[i]);
  }
}

}  // namespace charpie::mapping
