// Throws bytes at the JSON reader, the stream and the writer. What is accepted must survive being written and
// read again; whatever comes, the stream's pieces must be the input's bytes in order.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "syntax/json.hpp"
#include "syntax/json_stream.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

bool same(const Node& a, const Node& b) {
  if (a.kind != b.kind || a.text != b.text || a.name != b.name || a.name_text != b.name_text ||
      a.count != b.count) {
    return false;
  }
  const Node* x = a.first;
  const Node* y = b.first;
  for (; x != nullptr && y != nullptr; x = x->next, y = y->next) {
    if (!same(*x, *y)) return false;
  }
  return x == nullptr && y == nullptr;
}

// Every value's own bytes, read alone, are that value.
void check_ranges(std::string_view bytes, const Node& node, const Names& names) {
  require(node.begin < node.end && node.end <= bytes.size());
  if (node.first == nullptr) {
    Arena arena;
    const auto alone = read_json(bytes.substr(node.begin, node.end - node.begin), arena, names);
    require(bool(alone) && (*alone)->kind == node.kind && (*alone)->text == node.text);
  }
  for (const Node* child = node.first; child != nullptr; child = child->next) {
    require(child->begin > node.begin && child->end < node.end);
    check_ranges(bytes, *child, names);
  }
}

void check_tree(std::string_view bytes, const Names& names) {
  Arena arena;
  const auto tree = read_json(bytes, arena, names);
  if (!tree) {
    require(!tree.error().message.empty() && tree.error().line >= 1 && tree.error().column >= 1);
    return;
  }
  check_ranges(bytes, **tree, names);
  std::string compact;
  append_json(**tree, compact);
  std::string pretty;
  append_pretty_json(bytes, pretty);
  for (const std::string& text : {compact, pretty}) {
    Arena again_arena;
    const auto again = read_json(text, again_arena, names);
    require(bool(again) && same(**tree, **again));
  }
}

void check_stream(std::string_view bytes, std::size_t chunk, const Names& names) {
  TextSource source(bytes);
  JsonStream stream(source, {64, chunk});
  JsonPiece piece;
  std::size_t from = 0;
  std::uint64_t count = 0;
  while (stream.next(piece)) {
    require(piece.ordinal == ++count && count <= bytes.size() + 2);
    require(piece.line >= 1 && piece.column >= 1);
    const std::size_t found = bytes.find(piece.bytes, from);
    require(found != std::string_view::npos);
    from = found + piece.bytes.size();
    if (!piece.error) {
      Arena arena;
      (void)read_json(piece.bytes, arena, names);
    }
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  Names names;
  names.add("a");
  names.add("id");
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  check_tree(bytes, names);
  check_stream(bytes, data[0] % 32 + 1u, names);
  return 0;
}
