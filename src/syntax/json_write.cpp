#include "syntax/json_write.hpp"

#include "base/escape.hpp"

namespace charpie::syntax {

void append_json(const Node& node, std::string& out) {
  switch (node.kind) {
    case NodeKind::null:
      out += "null";
      return;
    case NodeKind::boolean:
    case NodeKind::number:
      out += node.text;
      return;
    case NodeKind::string:
      append_json_string(node.text, out);
      return;
    case NodeKind::object:
    case NodeKind::array:
      break;
  }
  const bool object = node.is_object();
  out += object ? '{' : '[';
  for (const Node* child = node.first; child != nullptr; child = child->next) {
    if (child != node.first) out += ',';
    if (object) {
      append_json_string(child->name_text, out);
      out += ':';
    }
    append_json(*child, out);
  }
  out += object ? '}' : ']';
}

void append_pretty_json(std::string_view json, std::string& out) {
  std::size_t depth = 0;
  const auto new_line = [&] {
    out += '\n';
    out.append(depth * 2, ' ');
  };
  for (std::size_t at = 0; at < json.size(); ++at) {
    const char c = json[at];
    switch (c) {
      case ' ':
      case '\t':
      case '\n':
      case '\r':
        break;
      case '"': {
        std::size_t end = at + 1;
        while (end < json.size() && json[end] != '"') end += json[end] == '\\' ? 2 : 1;
        out += json.substr(at, end + 1 - at);
        at = end;
        break;
      }
      case '{':
      case '[': {
        out += c;
        // An empty pair stays together.
        const auto inside = json.find_first_not_of(" \t\r\n", at + 1);
        if (inside != std::string_view::npos && (json[inside] == '}' || json[inside] == ']')) {
          out += json[inside];
          at = inside;
          break;
        }
        ++depth;
        new_line();
        break;
      }
      case '}':
      case ']':
        if (depth > 0) --depth;
        new_line();
        out += c;
        break;
      case ',':
        out += c;
        new_line();
        break;
      case ':':
        out += ": ";
        break;
      default:
        out += c;
    }
  }
}

}  // namespace charpie::syntax
