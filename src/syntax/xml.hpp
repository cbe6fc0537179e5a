// XML 1.0 with namespaces, read strictly into a tree of its own: elements, attributes and text in their
// order. Bytes are parsed by libxml2 (SAX2); no document type, no entity of one's own, no network, no file.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

/// What an XML text may not exceed. Depth and the length of a value are those of JSON (syntax/json.hpp).
struct XmlLimits {
  static constexpr std::size_t deepest = 250;  // libxml2's own bound is 256
  std::size_t depth = 64;                      // nested elements
  std::size_t value_bytes = 1024 * 1024;       // one attribute's value, or the text between two tags, decoded
  std::size_t attributes = 64;                 // of one element, namespace declarations included
  std::size_t name_bytes = 256;                // of an element or attribute, and of a namespace's name
  std::size_t tag_bytes = 2u << 20;            // one start tag as written
  std::size_t comment_bytes = 64u << 10;       // one comment or processing instruction
  std::size_t before_root_bytes = 64u << 10;   // declaration, comments and instructions before the root
  std::size_t document_bytes = 64u << 20;      // the whole text; never more than 2 GiB
  // Elements and attributes of one text; the tree takes 136 and 88 bytes for each. A longer text may hold one
  // for every 10 bytes (a Bundle of ours has one for 23, entries of C-CDA one for 11), so that a dense hostile
  // one is refused before a tree is made, and a long honest one is read.
  std::size_t nodes = 250'000;
  std::size_t bytes_a_node = 10;
};

/// One attribute. A namespace declaration is one too, of the namespace `xml_declarations`: its name is the
/// prefix, or empty for the default namespace.
struct XmlAttribute {
  std::uint32_t name = 0;        // number of the local name, 0 when nobody asked for it
  std::string_view name_text{};  // local name
  std::string_view prefix{};
  std::string_view space{};  // namespace name; empty for an attribute without prefix
  std::string_view value{};  // decoded, white space normalised as XML 1.0 section 3.3.3 asks
  XmlAttribute* next = nullptr;
};

inline constexpr std::string_view xml_declarations = "http://www.w3.org/2000/xmlns/";

enum class XmlKind : std::uint8_t { element, text };

/// An element, or the text between two tags. Children are a linked list in document order. It is a type of
/// its own beside Node, because attributes and namespaces would make every JSON value larger.
struct XmlNode {
  XmlKind kind = XmlKind::element;
  std::uint32_t name = 0;   // number of the local name, 0 when nobody asked for it
  std::uint32_t count = 0;  // number of children, elements and texts
  std::uint32_t begin = 0;  // where it starts and ends in XmlDocument::text, tags included
  std::uint32_t end = 0;
  std::string_view name_text{};  // local name; empty for a text
  std::string_view prefix{};     // as written
  std::string_view space{};      // namespace name, or empty
  std::string_view text{};       // of a text: decoded, comments left out, CDATA taken in
  XmlAttribute* attributes = nullptr;
  XmlNode* first = nullptr;
  XmlNode* last = nullptr;
  XmlNode* next = nullptr;

  bool is_element() const { return kind == XmlKind::element; }
  bool is(std::string_view wanted_space, std::string_view wanted_name) const {
    return is_element() && name_text == wanted_name && space == wanted_space;
  }
  /// The attribute of no namespace with that name, or nullptr.
  const XmlAttribute* attribute(std::string_view wanted) const {
    for (const XmlAttribute* one = attributes; one != nullptr; one = one->next) {
      if (one->name_text == wanted && one->space.empty()) return one;
    }
    return nullptr;
  }
};

/// A text and its tree. Both live in the arena, except that `text` is the bytes given when those are UTF-8.
struct XmlDocument {
  XmlNode* root = nullptr;
  std::string_view text{};  // UTF-8; begin and end of nodes count in it
};

/// How to read.
struct XmlReading {
  XmlLimits limits{};
  bool keep_blank_text = false;  // texts of white space alone, which a text for people has between elements
  /// Namespace declarations that hold where the bytes stood (` xmlns:a="…"`), as XmlPiece::context gives.
  std::string_view context{};
};

/// Reads one XML document, or one element cut out of one by XmlStream.
///
/// Encodings: UTF-8 (with or without byte-order mark), UTF-16 with byte-order mark, ISO-8859-1 when the
/// declaration says so. `bytes` must outlive the tree. Comments and processing instructions are left out.
///
/// Error::invalid with line and column for whatever XML 1.0 and Namespaces in XML 1.0 refuse, and for: a
/// document type, another encoding or one that is not what the declaration says, a limit passed.
/// Messages never repeat the data.
Result<XmlDocument> read_xml(std::string_view bytes, Arena& arena, const Names& names,
                             const XmlReading& how = {});

/// Whether the first bytes are those of an XML text in an encoding that read_xml takes, and not of JSON.
bool looks_like_xml(std::string_view bytes);

}  // namespace charpie::syntax
