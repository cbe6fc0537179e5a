#include "flow/sample_tree.hpp"

#include <algorithm>

#include "base/arena.hpp"
#include "syntax/json.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

namespace {

using syntax::Node;
using syntax::XmlNode;

SampleMember& member_of(SampleMember& at, std::string_view name) {
  auto known =
      std::find_if(at.members.begin(), at.members.end(), [&](const auto& one) { return one.name == name; });
  if (known == at.members.end()) {
    known = at.members.insert(known, SampleMember{});
    known->name = name;
  }
  return *known;
}

void add(const Node& node, SampleMember& at) {
  if (node.is_array()) {
    at.is_list = true;
    for (const Node* item = node.first; item != nullptr; item = item->next) add(*item, at);
  } else if (node.is_object()) {
    for (const Node* child = node.first; child != nullptr; child = child->next)
      add(*child, member_of(at, child->name_text));
  } else {
    at.cells.add(node.text);
  }
}

// An element that has attributes in one place and none in another holds its text in "#text" in both.
void gather_texts(SampleMember& at) {
  for (auto& one : at.members) gather_texts(one);
  if (!at.is_object() || !at.cells.any()) return;
  for (const auto& cell : at.cells.different) member_of(at, "#text").cells.add(cell);
  at.cells = {};
}

std::string name_as_written(const XmlNode& element) {
  const std::string local(element.name_text);
  return element.prefix.empty() ? local : std::string(element.prefix) + ":" + local;
}

// Whether the root stands around documents: it holds elements of one name, which hold more than text.
const XmlNode* first_document(const XmlNode& root) {
  const XmlNode* first = nullptr;
  std::size_t count = 0;
  for (const XmlNode* child = root.first; child != nullptr; child = child->next) {
    if (!child->is_element()) continue;
    if (first != nullptr && !child->is(first->space, first->name_text)) return nullptr;
    if (first == nullptr) first = child;
    ++count;
  }
  const XmlNode* inside = first == nullptr ? nullptr : first->first;
  while (inside != nullptr && !inside->is_element()) inside = inside->next;
  return count > 1 && inside != nullptr ? first : nullptr;
}

Result<SampleTree> read_xml_tree(std::string_view text) {
  Arena arena;
  const syntax::Names names;
  const auto document = syntax::read_xml(text, arena, names);
  if (!document) return document.error();
  SampleTree sample;
  sample.is_xml = true;
  const XmlNode& root = *document->root;
  const XmlNode* first = first_document(root);
  sample.element = name_as_written(first == nullptr ? root : *first);
  if (first != nullptr) sample.root = name_as_written(root);
  for (const auto* one = root.attributes; one != nullptr; one = one->next) {
    if (one->space == syntax::xml_declarations)
      sample.spaces.push_back({std::string(one->name_text), std::string(one->value)});
  }
  std::size_t count = 0;
  for (const XmlNode* at = first == nullptr ? &root : first; at != nullptr && count < SampleTable::most_rows;
       at = first == nullptr ? nullptr : at->next) {
    if (!at->is_element()) continue;
    add(*syntax::members_of(*at, {}, sample.spaces, arena, names), sample.top);
    ++count;
  }
  gather_texts(sample.top);
  return sample;
}

Result<SampleTree> read_json_tree(std::string_view text) {
  SampleTree sample;
  syntax::TextSource source(text);
  syntax::JsonStream stream(source);
  syntax::JsonPiece piece;
  const syntax::Names names;
  for (std::size_t i = 0; i < SampleTable::most_rows && stream.next(piece); ++i) {
    if (piece.error) return *piece.error;
    Arena arena;
    auto tree = syntax::read_json(piece.bytes, arena, names);
    if (!tree) {
      tree.error().line += piece.line - 1;
      return tree.error();
    }
    add(**tree, sample.top);
  }
  return sample;
}

}  // namespace

Result<SampleTree> read_sample_tree(const SampleFile& file) {
  auto sample = syntax::looks_like_xml(file.text) ? read_xml_tree(file.text) : read_json_tree(file.text);
  if (!sample) sample.error().file = file.name;
  return sample;
}

}  // namespace charpie::flow
