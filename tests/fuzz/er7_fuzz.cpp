// Throws bytes at the HL7 v2 reader, stream, grouping and writer. Pieces must not depend on how the bytes
// come; what is accepted must survive being written and read again, flat and through its groups.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "base/tables.hpp"
#include "base/utf8.hpp"
#include "syntax/charset.hpp"
#include "syntax/er7.hpp"
#include "syntax/er7_acknowledge.hpp"
#include "syntax/er7_groups.hpp"
#include "syntax/er7_stream.hpp"
#include "syntax/er7_write.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

const Er7Structures& structures() {
  static const Er7Structures loaded = [] {
    const Tables tables(embedded_tables());
    auto read = Er7Structures::load(*tables.find("sites/er7-groups.csv"), "er7-groups.csv");
    require(bool(read));
    return std::move(*read);
  }();
  return loaded;
}

void check_places(const Er7Document& message, const Node& node) {
  require(node.begin <= node.end && node.end <= message.text.size());
  for (const Node* child = node.first; child != nullptr; child = child->next) check_places(message, *child);
  if (node.is_string()) {
    require(is_utf8(node.text));
    require(!words_of(er7_location(message.text, node.begin)).empty());
  }
}

std::string json_of(const Node& node) {
  std::string json;
  append_json(node, json);
  return json;
}

// All pieces as one text.
std::string cut(std::string_view bytes, std::size_t chunk) {
  TextSource source(bytes);
  Er7Stream stream(source, {200, chunk});
  JsonPiece piece;
  std::string all;
  std::uint64_t count = 0;
  while (stream.next(piece)) {
    require(piece.ordinal == ++count && piece.line >= 1 && piece.column >= 1);
    require(piece.error || (piece.bytes.starts_with("MSH") && piece.bytes.size() <= 200));
    if (!piece.error) require(bytes.substr(piece.offset, piece.bytes.size()) == piece.bytes);
    all += std::to_string(piece.line) + ":" + std::to_string(piece.column) + " " + piece.bytes +
           (piece.error ? piece.error->message : "") + "\n";
  }
  return all;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  // Held, so that the C library does not load and unload them each time.
  static const auto latin = Recoder::to_utf8("ISO-8859-1"), to_latin = Recoder::from_utf8("ISO-8859-1");
  require(latin && to_latin);
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  require(cut(bytes, 1 + data[0] / 8u) == cut(bytes, 4096));
  Er7Reading how;
  how.keep_empty_ends = (data[0] & 1) != 0;
  if ((data[0] & 2) != 0) how.charset = "8859/1";
  Arena arena;
  const Names names;
  const auto message = read_er7(bytes, arena, names, how);
  if (!message) {
    require(!message.error().message.empty() && !message.error().mend.empty() && message.error().line >= 1);
    return 0;
  }
  check_places(*message, *message->root);
  for (const auto& note : message->notes)
    require(note.begin <= message->text.size() && !words_of(note.kind).empty());
  const std::string json = json_of(*message->root);
  Er7Writing writing;
  writing.delimiters = message->delimiters;
  writing.charset = how.charset;
  std::string written;
  // What is refused: segments named by a line end or by nothing, and text that the set cannot say.
  if (!write_er7(*message->root, written, writing)) return 0;
  const auto again = read_er7(written, arena, names, how);
  require(bool(again) && json_of(*again->root) == json);
  std::string twice;
  require(write_er7(*again->root, twice, writing) && twice == written);
  if (structures().group(*message->root, arena, names)) {
    require(bool(flatten_er7(*message->root, arena, names)));
    require(message->root->first->count == again->root->first->count);
  }
  return 0;
}
