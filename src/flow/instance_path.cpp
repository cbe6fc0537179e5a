#include "flow/instance_path.hpp"

namespace charpie::flow {

namespace {

using syntax::Node;

std::string root_name(const Node& root) {
  const Node* type = root.is_object() ? root.member("resourceType") : nullptr;
  return type == nullptr ? std::string{} : std::string(type->text);
}

void append_step(const Node& parent, const Node& child, std::size_t index, std::string& path) {
  if (parent.is_array()) {
    path += '[' + std::to_string(index) + ']';
    return;
  }
  auto name = child.name_text;
  if (name.starts_with('_')) name.remove_prefix(1);
  if (!path.empty()) path += '.';
  path += name;
}

void visit_below(const Node& node, std::string& path,
                 const std::function<void(const std::string&, const Node&)>& use) {
  if (!node.is_object() && !node.is_array()) return use(path, node);
  std::size_t index = 0;
  const auto length = path.size();
  for (const Node* child = node.first; child != nullptr; child = child->next, ++index) {
    append_step(node, *child, index, path);
    visit_below(*child, path, use);
    path.resize(length);
  }
}

}  // namespace

std::string instance_path(const Node& root, std::size_t begin, std::size_t end) {
  if (begin < root.begin || end > root.end) return {};
  std::string path = root_name(root);
  const Node* at = &root;
  while (at != nullptr) {
    const Node* inner = nullptr;
    std::size_t index = 0;
    for (const Node* child = at->first; child != nullptr; child = child->next, ++index) {
      if (begin < child->begin || end > child->end) continue;
      append_step(*at, *child, index, path);
      inner = child;
      break;
    }
    at = inner;
  }
  return path;
}

void visit_leaves(const Node& root, const std::function<void(const std::string&, const Node&)>& use) {
  std::string path = root_name(root);
  visit_below(root, path, use);
}

}  // namespace charpie::flow
