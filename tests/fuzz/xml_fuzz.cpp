// Throws bytes at the XML reader, the stream and the writer. What is accepted must survive being written and
// read again, and every node's own bytes must be markup; the stream's pieces must not depend on how the bytes
// come.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "base/utf8.hpp"
#include "syntax/xml.hpp"
#include "syntax/xml_documents.hpp"
#include "syntax/xml_stream.hpp"
#include "syntax/xml_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

bool same(const XmlAttribute& a, const XmlAttribute& b) {
  return a.name == b.name && a.name_text == b.name_text && a.prefix == b.prefix && a.space == b.space &&
         a.value == b.value;
}

bool same(const XmlNode& a, const XmlNode& b) {
  if (a.kind != b.kind || a.name != b.name || a.name_text != b.name_text || a.space != b.space ||
      a.prefix != b.prefix || a.text != b.text || a.count != b.count) {
    return false;
  }
  const XmlAttribute* p = a.attributes;
  const XmlAttribute* q = b.attributes;
  for (; p != nullptr && q != nullptr; p = p->next, q = q->next) {
    if (!same(*p, *q)) return false;
  }
  if (p != q) return false;
  const XmlNode* x = a.first;
  const XmlNode* y = b.first;
  for (; x != nullptr && y != nullptr; x = x->next, y = y->next) {
    if (!same(*x, *y)) return false;
  }
  return x == y;
}

void check_places(const XmlDocument& document, const XmlNode& node) {
  require(node.begin < node.end && node.end <= document.text.size());
  const std::string_view own = document.text.substr(node.begin, node.end - node.begin);
  if (node.is_element()) require(own.front() == '<' && own.back() == '>');
  require(is_xml_character_text(node.text));
  std::size_t from = node.begin;
  for (const XmlNode* child = node.first; child != nullptr; child = child->next) {
    require(child->begin >= from && child->end <= node.end);
    from = child->end;
    check_places(document, *child);
  }
}

// All pieces as one text; good ones go to the reader.
std::string cut(std::string_view bytes, std::size_t chunk, const XmlRecords& records, const Names& names) {
  TextSource source(bytes);
  XmlStreamLimits limits;
  limits.record_bytes = 256;
  limits.chunk_bytes = chunk;
  XmlStream stream(source, records, limits);
  XmlPiece piece;
  std::string all;
  std::uint64_t count = 0;
  while (stream.next(piece)) {
    require(piece.ordinal == ++count && count <= bytes.size() + 2);
    require(piece.line >= 1 && piece.column >= 1);
    all += std::to_string(piece.line) + ":" + std::to_string(piece.column) + " " + piece.context +
           piece.bytes + (piece.error ? piece.error->message : "") + "\n";
    if (piece.error) continue;
    require(!piece.bytes.empty() && piece.bytes.front() == '<' && piece.bytes.back() != '<');
    Arena arena;
    (void)read_xml(piece.bytes, arena, names, {{}, false, piece.context});
  }
  return all;
}

// The documents of a stream as one text; each stands in the bytes where it says.
std::string documents(std::string_view bytes, std::size_t chunk, std::size_t longest) {
  TextSource source(bytes);
  XmlDocumentStream stream(source, {.record_bytes = longest, .chunk_bytes = chunk});
  JsonPiece piece;
  std::string all;
  std::uint64_t count = 0;
  while (stream.next(piece)) {
    require(piece.ordinal == ++count && count <= bytes.size() + 2);
    require(bytes.substr(piece.offset, piece.bytes.size()) == piece.bytes);
    all += std::to_string(piece.line) + ":" + std::to_string(piece.column) + " " + piece.bytes +
           (piece.error ? piece.error->message : "") + "\n";
  }
  return all;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  Names names;
  names.add("a");
  names.add("id");
  XmlReading how;
  how.keep_blank_text = (data[0] & 1) != 0;
  if ((data[0] & 2) != 0) how.context = " xmlns:p=\"urn:p\"";
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  const XmlRecords records{(data[0] & 4) != 0 ? "a" : ""};
  require(cut(bytes, 1 + data[0] / 8u, records, names) == cut(bytes, 4096, records, names));
  const std::size_t longest = (data[0] & 4) != 0 ? 64 : 1u << 20;
  require(documents(bytes, 1 + data[0] / 8u, longest) == documents(bytes, 4096, longest));
  Arena arena;
  const auto document = read_xml(bytes, arena, names, how);
  if (!document) {
    require(!document.error().message.empty() && !document.error().mend.empty());
    require(document.error().line >= 1 && document.error().column >= 1);
    return 0;
  }
  check_places(*document, *document->root);
  std::string written;
  require(write_xml(*document->root, written));
  Arena again_arena;
  const auto again = read_xml(written, again_arena, names, how);
  require(bool(again) && same(*document->root, *again->root));
  return 0;
}
