// The tree that every syntax is read into: objects, arrays and scalar tokens, with their place in the bytes.
// Numbers stay the text that was written; nothing here knows FHIR or wounds.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"

namespace charpie::syntax {

/// Member names that a reader will look for, each with a small number, so that comparing names is comparing
/// numbers. Filled while tables load, then frozen: looking up is safe from any thread.
class Names {
 public:
  /// The number of a name, given to it now if it is new. Numbers start at 1.
  std::uint32_t add(std::string_view name);
  /// The number of a name, 0 when nobody asked for it.
  std::uint32_t find(std::string_view name) const;
  std::string_view text(std::uint32_t number) const {
    return number == 0 ? std::string_view{} : names_[number - 1];
  }
  std::size_t size() const { return names_.size(); }

 private:
  void grow();
  std::vector<std::string_view> names_;
  std::vector<std::uint32_t> buckets_;  // open addressing, size a power of two
  Arena bytes_;
};

enum class NodeKind : std::uint8_t { object, array, string, number, boolean, null };

/// One value. Children are a linked list in document order. Lives in the arena it was read into.
struct Node {
  NodeKind kind = NodeKind::null;
  bool used = false;        // set by whoever understood this node; what is left is reported
  std::uint32_t name = 0;   // number of the member name, 0 in arrays or when the name is not known
  std::uint32_t count = 0;  // number of children
  std::uint32_t begin = 0;  // where the value starts and ends in the bytes that were read
  std::uint32_t end = 0;
  std::string_view name_text{};  // member name as written (decoded); empty in arrays
  std::string_view text{};       // string: decoded; number: the token; boolean: "true" or "false"
  Node* first = nullptr;
  Node* last = nullptr;
  Node* next = nullptr;

  bool is_object() const { return kind == NodeKind::object; }
  bool is_array() const { return kind == NodeKind::array; }
  bool is_string() const { return kind == NodeKind::string; }
  /// The member with that number, or nullptr.
  Node* member(std::uint32_t wanted) const {
    for (Node* child = first; child != nullptr; child = child->next) {
      if (child->name == wanted) return child;
    }
    return nullptr;
  }
  Node* member(std::string_view wanted) const {
    for (Node* child = first; child != nullptr; child = child->next) {
      if (child->name_text == wanted) return child;
    }
    return nullptr;
  }
};

/// Hangs a child behind the others. For XmlNode, too.
template <class Tree>
void append(Tree& parent, Tree* child) {
  child->next = nullptr;
  (parent.last == nullptr ? parent.first : parent.last->next) = child;
  parent.last = child;
  ++parent.count;
}

/// The text of a scalar; empty for nullptr.
inline std::string_view plain_text(const Node* node) {
  return node == nullptr ? std::string_view{} : node->text;
}

/// The member at a path of names, "meta.versionId"; nullptr where there is none.
Node* at_path(const Node& object, std::string_view path);
/// The way back: appends ".member" and "[index]" down to the first node for which `is_it` is true; false,
/// with nothing appended, where there is none.
template <class Test>
bool path_to(const Node& from, const Test& is_it, std::string& path) {
  if (is_it(from)) return true;
  const auto length = path.size();
  std::uint32_t index = 0;
  for (const Node* at = from.first; at != nullptr; at = at->next, ++index) {
    if (from.is_object()) {
      path += '.';
      path += at->name_text;
    } else {
      path += '[' + std::to_string(index) + ']';
    }
    if (path_to(*at, is_it, path)) return true;
    path.resize(length);
  }
  return false;
}
/// For path_to(): this very node.
inline auto the_node(const Node& wanted) {
  return [&wanted](const Node& node) { return &node == &wanted; };
}

/// Marks a node and all below as understood.
void use_all(Node& node);

}  // namespace charpie::syntax
