#include "syntax/xml.hpp"

#include <libxml/parser.h>
#include <libxml/xmlreader.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <memory>
#include <optional>
#include <vector>

#include "base/utf8.hpp"
#include "syntax/json.hpp"
#include "syntax/xml_encoding.hpp"
#include "syntax/xml_markup.hpp"

namespace charpie::syntax {

namespace {

constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
constexpr std::string_view white_space = " \t\r\n";

bool is_blank(std::string_view text) {
  return text.find_first_not_of(white_space) == std::string_view::npos;
}

Error error_at(std::string_view text, std::size_t offset, std::string message, std::string mend) {
  const TextPosition place = position(text, offset);
  return {Error::invalid, std::move(message), {}, place.line, place.column, std::move(mend)};
}

Error limit_error(std::string_view text, std::size_t offset, std::string what, std::size_t limit,
                  std::string_view of, std::string mend) {
  return error_at(text, offset, std::move(what) + " " + std::to_string(limit) + std::string(of),
                  std::move(mend));
}

// The bytes as UTF-8: themselves, or decoded into the arena.
Result<std::string_view> as_utf8(std::string_view bytes, Arena& arena) {
  const auto encoding = recognise_xml_encoding(bytes.substr(0, xml_encoding_start));
  if (!encoding) return encoding.error();
  std::string_view text = bytes;
  if (!encoding->is_utf8()) {
    std::string decoded;
    std::string_view rest = bytes.substr(encoding->mark.size());
    if (!decode_xml(*encoding, rest, decoded) || !rest.empty()) {
      const Error what = not_of_encoding(*encoding);
      return error_at(decoded, decoded.size(), what.message, what.mend);
    }
    text = arena.keep(decoded);
  }
  const std::size_t good = utf8_valid_prefix(text);
  if (good == text.size()) return text;
  return error_at(text, good, "the text is not valid UTF-8",
                  "save it as UTF-8, or declare the encoding that it has");
}

// ---- Errors of the parser --------------------------------------------------------------------------------

struct Words {
  int code;
  const char* message;
  const char* mend;
};

constexpr Words beside_root = {XML_ERR_DOCUMENT_END, "there is something beside the root element",
                               "keep one root element"};
constexpr Words left_open_words = {XML_ERR_TAG_NOT_FINISHED, "an element is not closed",
                                   "close every element, innermost first"};
constexpr const char* close_elements = "close every element, innermost first";
constexpr const char* quote_values = "write attributes as name=\"value\"";
constexpr const char* drop_character = "take out control characters";

constexpr Words words_of_parser[] = {
    beside_root,
    {XML_ERR_TAG_NAME_MISMATCH, "an end tag is not that of the open element", close_elements},
    left_open_words,
    {XML_ERR_GT_REQUIRED, "a tag is not closed by '>'", "add '>'"},
    {XML_ERR_LT_REQUIRED, "'<' is missing", "start the element with '<'"},
    {XML_ERR_LTSLASH_REQUIRED, "an end tag is missing", close_elements},
    {XML_ERR_LT_IN_ATTRIBUTE, "an attribute value has '<' in it", "write &lt; there"},
    {XML_ERR_ATTRIBUTE_NOT_STARTED, "an attribute has no quoted value", quote_values},
    {XML_ERR_ATTRIBUTE_NOT_FINISHED, "an attribute value is not closed", "add the closing quote"},
    {XML_ERR_ATTRIBUTE_WITHOUT_VALUE, "an attribute has no value", quote_values},
    {XML_ERR_ATTRIBUTE_REDEFINED, "an attribute stands twice in one element", "keep one of the two"},
    {XML_NS_ERR_ATTRIBUTE_REDEFINED, "an attribute stands twice in one element, by two prefixes",
     "keep one of the two"},
    {XML_NS_ERR_UNDEFINED_NAMESPACE, "a prefix is not declared", "declare it by xmlns:prefix=\"…\""},
    {XML_WAR_NS_URI, "a namespace is no URI", "declare it as a URI"},
    {XML_NS_ERR_XML_NAMESPACE, "a reserved prefix or namespace is declared", "take the declaration out"},
    {XML_NS_ERR_QNAME, "a name has a colon in a wrong place", "write prefix:name"},
    {XML_NS_ERR_COLON, "a name has a colon in a wrong place", "write prefix:name"},
    {XML_NS_ERR_EMPTY, "a prefix is declared with an empty namespace", "give the namespace"},
    {XML_ERR_SPACE_REQUIRED, "white space is missing between attributes", "add a space"},
    {XML_ERR_NAME_REQUIRED, "a name is missing or starts with a character that names cannot have",
     "start names with a letter or '_'"},
    {XML_ERR_UNDECLARED_ENTITY, "an entity is used that XML does not know", "write the character itself"},
    {XML_WAR_UNDECLARED_ENTITY, "an entity is used that XML does not know", "write the character itself"},
    {XML_ERR_ENTITYREF_SEMICOL_MISSING, "'&' is not followed by a name and ';'", "write &amp; for '&'"},
    {XML_ERR_INVALID_CHARREF, "a character reference names no XML character", drop_character},
    {XML_ERR_INVALID_DEC_CHARREF, "a character reference is not a number", "write as in &#176;"},
    {XML_ERR_INVALID_HEX_CHARREF, "a character reference is not a number", "write as in &#xB0;"},
    {XML_ERR_INVALID_CHAR, "there is a character that XML cannot hold", drop_character},
    {XML_ERR_INVALID_ENCODING, "there is a character that XML cannot hold", drop_character},
    {XML_ERR_MISPLACED_CDATA_END, "]]> stands in a text", "write ]]&gt; there"},
    {XML_ERR_CDATA_NOT_FINISHED, "a CDATA section is not closed", "close it by ]]>"},
    {XML_ERR_COMMENT_NOT_FINISHED, "a comment is not closed", "close it by -->"},
    {XML_ERR_HYPHEN_IN_COMMENT, "a comment has -- in it", "take the hyphens out"},
    {XML_ERR_PI_NOT_FINISHED, "a processing instruction is not closed", "close it by ?>"},
    {XML_ERR_PI_NOT_STARTED, "a processing instruction has no name", "name it or take it out"},
    {XML_ERR_RESERVED_XML_NAME, "the XML declaration does not stand at the very start",
     "let nothing stand in front of it"},
    {XML_ERR_XMLDECL_NOT_FINISHED, "the XML declaration is not closed", "close it by ?>"},
    {XML_ERR_VERSION_MISSING, "the XML declaration names no version", "write version=\"1.0\""},
    {XML_ERR_NAME_TOO_LONG, "a name is too long", "shorten it"},
};

// The parser's first complaint. Its own words are not taken: they repeat the data.
struct Complaint {
  int code = 0;
  std::size_t line = 0;
  std::size_t column = 0;
};

extern "C" void take_complaint(void* to, xmlError* error) {
  auto& complaint = *static_cast<Complaint*>(to);
  if (error == nullptr || complaint.code != 0 || error->level < XML_ERR_ERROR) return;
  complaint.code = error->code;
  complaint.line = error->line > 0 ? static_cast<std::size_t>(error->line) : 1;
  complaint.column = error->int2 > 0 ? static_cast<std::size_t>(error->int2) : 1;
}

Error error_of(const Complaint& complaint, std::size_t context_size) {
  const auto* words = std::find_if(std::begin(words_of_parser), std::end(words_of_parser),
                                   [&](const Words& row) { return row.code == complaint.code; });
  const bool known = words != std::end(words_of_parser);
  std::size_t column = complaint.column;
  // What was set in front of the bytes is on their first line.
  if (complaint.line == 1) column = column > context_size ? column - context_size : 1;
  return {Error::invalid,
          known ? words->message
                : "the text is not well-formed XML (libxml2's error " + std::to_string(complaint.code) + ")",
          {},
          complaint.line,
          column,
          known ? words->mend : "mend it at that place"};
}

// ---- Bytes for the parser --------------------------------------------------------------------------------

// A text, and what is set around it, handed to libxml2 without copying them together.
struct Feed {
  std::array<std::string_view, 3> parts;
  std::size_t part = 0;
};

extern "C" int feed_bytes(void* from, char* to, int size) {
  auto& feed = *static_cast<Feed*>(from);
  while (feed.part < feed.parts.size() && feed.parts[feed.part].empty()) ++feed.part;
  if (feed.part == feed.parts.size()) return 0;
  std::string_view& part = feed.parts[feed.part];
  const std::size_t count = std::min(part.size(), static_cast<std::size_t>(size));
  std::memcpy(to, part.data(), count);
  part.remove_prefix(count);
  return static_cast<int>(count);
}

extern "C" int close_feed(void*) {
  return 0;
}

struct FreeReader {
  void operator()(xmlTextReader* reader) const { xmlFreeTextReader(reader); }
};

// ---- The tree --------------------------------------------------------------------------------------------

std::string_view view(const xmlChar* text) {
  return text == nullptr ? std::string_view{} : std::string_view(reinterpret_cast<const char*>(text));
}

class TreeBuilder {
 public:
  TreeBuilder(std::string_view text, std::size_t start, Arena& arena, const Names& names,
              const XmlReading& how, xmlTextReader* reader)
      : text_(text), at_(start), arena_(arena), names_(names), how_(how), reader_(reader) {}

  // Takes the node that the reader stands on; false when it is refused. The first element of a reading with
  // context is what was set around the bytes.
  bool take() {
    switch (xmlTextReaderNodeType(reader_)) {
      case XML_READER_TYPE_ELEMENT:
        if (!how_.context.empty() && !context_passed_) {
          context_passed_ = true;
          return true;
        }
        return open();
      case XML_READER_TYPE_END_ELEMENT:
        if (frames_.empty()) return true;
        return close();
      case XML_READER_TYPE_TEXT:
      case XML_READER_TYPE_CDATA:
      case XML_READER_TYPE_WHITESPACE:
      case XML_READER_TYPE_SIGNIFICANT_WHITESPACE:
        return add_text(view(xmlTextReaderConstValue(reader_)));
      case XML_READER_TYPE_COMMENT:
      case XML_READER_TYPE_PROCESSING_INSTRUCTION:
      case XML_READER_TYPE_XML_DECLARATION:
        return true;
      default:
        return refuse(at_, "there is a document type or an entity", "write the document without it");
    }
  }

  XmlNode* root() const { return root_; }
  std::optional<Error>& refusal() { return refusal_; }

 private:
  struct Name {
    std::string_view text{};
    std::uint32_t number = 0;
  };

  bool refuse(std::size_t offset, std::string message, std::string mend) {
    refusal_ = error_at(text_, offset, std::move(message), std::move(mend));
    return false;
  }
  bool refuse_limit(std::size_t offset, std::string what, std::size_t limit, std::string_view of,
                    std::string mend) {
    refusal_ = limit_error(text_, offset, std::move(what), limit, of, std::move(mend));
    return false;
  }

  // The parser tells it itself, but not of bytes that are read in a context.
  bool second_root(std::size_t offset) { return refuse(offset, beside_root.message, beside_root.mend); }

  // Local names come from the parser's dictionary: the same few again and again, at the same address. What
  // stands there is compared all the same.
  Name intern(const xmlChar* name) {
    const std::string_view text = view(name);
    Name& kept = cache_[(reinterpret_cast<std::uintptr_t>(name) >> 3) % cache_.size()];
    if (kept.text != text || text.empty()) kept = {arena_.keep(text), names_.find(text)};
    return kept;
  }
  // libxml2 leaves '&' in a namespace's name as a reference.
  std::string_view plain_space(const xmlChar* name) {
    std::string_view text = view(name);
    constexpr std::string_view reference = "&#38;";
    if (text.find(reference) == std::string_view::npos) return text;
    plain_space_.clear();
    for (std::size_t at = text.find(reference); at != std::string_view::npos; at = text.find(reference)) {
      plain_space_.append(text.substr(0, at)) += '&';
      text.remove_prefix(at + reference.size());
    }
    return plain_space_ += text;
  }
  // Namespaces and prefixes repeat even more.
  static std::string_view keep_again(std::string_view text, std::string_view& last, Arena& arena) {
    if (text != last) last = arena.keep(text);
    return last;
  }

  // The next tag of the kind that the reader just told of, in the text; the reader goes the same way.
  Markup step(bool opening) {
    Markup tag;
    do {
      tag = next_markup(text_, at_);
      at_ = tag.end;
    } while (tag.kind != Markup::cut &&
             (opening ? tag.kind != Markup::start_tag && tag.kind != Markup::empty_tag
                      : tag.kind != Markup::end_tag));
    return tag;
  }

  XmlNode* add(XmlKind kind) {
    auto* node = arena_.make<XmlNode>();
    node->kind = kind;
    if (frames_.empty()) {
      root_ = node;
      return node;
    }
    XmlNode* parent = frames_.back();
    append(*parent, node);
    return node;
  }

  bool open() {
    end_text();
    const Markup tag = step(true);
    if (frames_.empty() && root_ != nullptr) return second_root(tag.begin);
    XmlNode* node = add(XmlKind::element);
    const Name name = intern(xmlTextReaderConstLocalName(reader_));
    node->name = name.number;
    node->name_text = name.text;
    node->prefix = keep_again(view(xmlTextReaderConstPrefix(reader_)), last_prefix_, arena_);
    node->space = keep_again(plain_space(xmlTextReaderConstNamespaceUri(reader_)), last_space_, arena_);
    node->begin = static_cast<std::uint32_t>(tag.begin);
    node->end = static_cast<std::uint32_t>(tag.end);
    if (name.text.size() > how_.limits.name_bytes || node->space.size() > how_.limits.name_bytes) {
      return refuse_limit(tag.begin, "a name is longer than", how_.limits.name_bytes, " bytes", "shorten it");
    }
    const bool empty = xmlTextReaderIsEmptyElement(reader_) == 1;
    if (xmlTextReaderHasAttributes(reader_) == 1 && !add_attributes(*node, tag)) return false;
    if (!empty) frames_.push_back(node);
    return true;
  }

  bool add_attributes(XmlNode& node, const Markup& tag) {
    XmlAttribute** to = &node.attributes;
    for (int more = xmlTextReaderMoveToFirstAttribute(reader_); more == 1;
         more = xmlTextReaderMoveToNextAttribute(reader_)) {
      auto* attribute = arena_.make<XmlAttribute>();
      const std::string_view value = view(xmlTextReaderConstValue(reader_));
      if (value.size() > how_.limits.value_bytes) {
        return refuse_limit(tag.begin, "an attribute is longer than", how_.limits.value_bytes, " bytes",
                            "shorten it");
      }
      attribute->value = arena_.keep(value);
      if (xmlTextReaderIsNamespaceDecl(reader_) == 1) {
        // libxml2 calls xmlns="…" a name without prefix, and xmlns:a="…" the name "a".
        const bool has_prefix = xmlTextReaderConstPrefix(reader_) != nullptr;
        attribute->space = xml_declarations;
        attribute->value = arena_.keep(plain_space(xmlTextReaderConstValue(reader_)));
        if (has_prefix) attribute->name_text = arena_.keep(view(xmlTextReaderConstLocalName(reader_)));
      } else {
        const Name name = intern(xmlTextReaderConstLocalName(reader_));
        attribute->name = name.number;
        attribute->name_text = name.text;
        attribute->prefix =
            keep_again(view(xmlTextReaderConstPrefix(reader_)), last_attribute_prefix_, arena_);
        attribute->space =
            keep_again(plain_space(xmlTextReaderConstNamespaceUri(reader_)), last_attribute_space_, arena_);
      }
      if (attribute->name_text.size() > how_.limits.name_bytes) {
        return refuse_limit(tag.begin, "a name is longer than", how_.limits.name_bytes, " bytes",
                            "shorten it");
      }
      *to = attribute;
      to = &attribute->next;
    }
    xmlTextReaderMoveToElement(reader_);
    return true;
  }

  bool close() {
    end_text();
    const Markup tag = step(false);
    frames_.back()->end = static_cast<std::uint32_t>(tag.end);
    frames_.pop_back();
    return true;
  }

  // A comment or a CDATA section parts a text only in the bytes.
  bool add_text(std::string_view piece) {
    if (frames_.empty()) return is_blank(piece) || second_root(at_);
    if (pending_.size() + piece.size() > how_.limits.value_bytes) {
      return refuse_limit(at_, "a text is longer than", how_.limits.value_bytes, " bytes", "shorten it");
    }
    pending_ += piece;
    return true;
  }
  void end_text() {
    if (pending_.empty()) return;
    if (how_.keep_blank_text || !is_blank(pending_)) {
      XmlNode* node = add(XmlKind::text);
      node->text = arena_.keep(pending_);
      node->begin = static_cast<std::uint32_t>(at_);
      node->end = node->begin;
      // Up to the tag that ended the text.
      for (std::size_t from = at_;;) {
        const Markup next = next_markup(text_, from);
        node->end = static_cast<std::uint32_t>(next.begin);
        if (next.kind != Markup::other) break;
        from = next.end;
      }
    }
    pending_.clear();
  }

  std::string_view text_;
  std::size_t at_;
  Arena& arena_;
  const Names& names_;
  const XmlReading& how_;
  xmlTextReader* reader_;
  bool context_passed_ = false;
  std::array<Name, 128> cache_{};
  std::string_view last_prefix_{}, last_space_{}, last_attribute_prefix_{}, last_attribute_space_{};
  std::string pending_, plain_space_;
  std::vector<XmlNode*> frames_;
  XmlNode* root_ = nullptr;
  std::optional<Error> refusal_;
};

// Looks over the brackets before the parser is asked: no document type ever reaches it, and nothing long or
// deep. (The parser's time grows with the square of a comment's length, and of the number of attributes.)
// Says how many elements are left open.
Result<std::size_t> look_over(std::string_view text, std::size_t start, const XmlLimits& limits) {
  const auto shorter = [&](std::size_t offset, std::string what, std::size_t limit) {
    return limit_error(text, offset, std::move(what), limit, " bytes", "shorten it");
  };
  const std::size_t deepest = std::min(limits.depth, XmlLimits::deepest);
  bool before_root = true;
  std::size_t depth = 0;
  for (std::size_t at = start;;) {
    const Markup tag = next_markup(text, at);
    if (before_root) {
      const std::size_t other = std::min(text.find_first_not_of(white_space, at), text.size());
      if (other < tag.begin) {
        return error_at(text, other, "the text does not start with an element", "start with '<'");
      }
      if (tag.begin == text.size()) {
        return error_at(text, text.size(), "there is no XML element",
                        "give a document with one root element");
      }
      if (tag.begin - start > limits.before_root_bytes) {
        return limit_error(text, tag.begin, "before the root element stand more than",
                           limits.before_root_bytes, " bytes", "take comments out");
      }
    }
    // A character takes six bytes at most as a reference that is not padded.
    if (tag.begin - at > 6 * limits.value_bytes)
      return shorter(at, "a text is longer than", limits.value_bytes);
    const bool is_section = text.substr(tag.begin).starts_with("<![CDATA[");
    const std::size_t longest = is_section                  ? limits.value_bytes + 12
                                : tag.kind == Markup::other ? limits.comment_bytes
                                                            : limits.tag_bytes;
    if (tag.end - tag.begin > longest) {
      return shorter(tag.begin,
                     is_section                  ? "a text is longer than"
                     : tag.kind == Markup::other ? "a comment or processing instruction is longer than"
                                                 : "a tag is longer than",
                     is_section ? limits.value_bytes : longest);
    }
    switch (tag.kind) {
      case Markup::declaration:
        if (text.substr(tag.begin).starts_with("<!DOCTYPE")) {
          return error_at(text, tag.begin, "there is a document type (DOCTYPE)",
                          "take it out, and write characters instead of entities");
        }
        return error_at(text, tag.begin, "there is a declaration that only a document type may hold",
                        "take it out");
      case Markup::start_tag:
      case Markup::empty_tag:
        before_root = false;
        if (depth >= deepest) {
          return limit_error(text, tag.begin, "elements are nested deeper than", deepest, " levels",
                             "flatten the record");
        }
        if (tag.values > limits.attributes) {
          return limit_error(text, tag.begin, "an element has more than", limits.attributes, " attributes",
                             "write fewer");
        }
        if (tag.kind == Markup::start_tag) ++depth;
        break;
      case Markup::end_tag:
        if (depth > 0) --depth;
        break;
      case Markup::other:
        break;
      case Markup::cut:
        return depth;
    }
    at = tag.end;
  }
}

}  // namespace

bool looks_like_xml(std::string_view bytes) {
  for (const std::string_view mark : {"\xFE\xFF", "\xFF\xFE"}) {
    if (bytes.starts_with(mark)) return true;
  }
  if (bytes.starts_with(byte_order_mark)) bytes.remove_prefix(byte_order_mark.size());
  const std::size_t first = bytes.find_first_not_of(white_space);
  return first != std::string_view::npos && bytes[first] == '<';
}

Result<XmlDocument> read_xml(std::string_view bytes, Arena& arena, const Names& names,
                             const XmlReading& how) {
  static const bool ready = (xmlInitParser(), true);
  (void)ready;
  constexpr std::size_t offsets_reach = 0x7FFFFFF0u;
  const std::size_t longest = std::min(how.limits.document_bytes, offsets_reach);
  if (bytes.size() > longest) {
    return limit_error({}, 0, "the XML text is longer than", longest, " bytes",
                       "split it into several records");
  }
  auto decoded = as_utf8(bytes, arena);
  if (!decoded) return decoded.error();
  const std::string_view text = *decoded;
  if (text.size() > longest) {
    return limit_error({}, 0, "the XML text is longer than", longest, " bytes",
                       "split it into several records");
  }
  const std::size_t start = text.starts_with(byte_order_mark) ? byte_order_mark.size() : 0;
  const auto left_open = look_over(text, start, how.limits);
  if (!left_open) return left_open.error();
  const std::size_t nul = text.find('\0');
  if (nul != std::string_view::npos) {
    return error_at(text, nul, "there is a NUL byte", "take it out");
  }

  const bool in_context = !how.context.empty();
  const std::string opening = in_context ? "<context" + std::string(how.context) + ">" : std::string();
  Feed feed{{opening, text.substr(start), in_context ? "</context>" : ""}};
  Complaint complaint;
  const std::unique_ptr<xmlTextReader, FreeReader> reader(
      xmlReaderForIO(feed_bytes, close_feed, &feed, nullptr, "UTF-8",
                     XML_PARSE_NONET | XML_PARSE_COMPACT | XML_PARSE_IGNORE_ENC | XML_PARSE_NOWARNING));
  if (reader == nullptr) return Error{Error::unreadable, "no memory for an XML parser", {}, 0, 0, ""};
  xmlTextReaderSetStructuredErrorHandler(reader.get(), take_complaint, &complaint);

  TreeBuilder builder(text, start, arena, names, how, reader.get());
  int more = 1;
  while ((more = xmlTextReaderRead(reader.get())) == 1 && complaint.code == 0) {
    if (!builder.take()) return *builder.refusal();
  }
  // For the parser, an end too early is an end of the document like another.
  if (complaint.code == XML_ERR_DOCUMENT_END && *left_open > 0) complaint.code = XML_ERR_TAG_NOT_FINISHED;
  if (complaint.code != 0 || more < 0) return error_of(complaint, opening.size());
  if (builder.root() == nullptr) {
    return error_at(text, text.size(), "there is no XML element", "give a document with one root element");
  }
  return XmlDocument{builder.root(), text};
}

}  // namespace charpie::syntax
