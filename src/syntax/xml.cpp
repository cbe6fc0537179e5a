#include "syntax/xml.hpp"

#include <libxml/parser.h>

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

  void take(const xmlError& error) {
    if (code != 0 || error.level < XML_ERR_ERROR) return;
    code = error.code;
    line = error.line > 0 ? static_cast<std::size_t>(error.line) : 1;
    column = error.int2 > 0 ? static_cast<std::size_t>(error.int2) : 1;
  }
};

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

struct FreeParser {
  void operator()(xmlParserCtxt* parser) const { xmlFreeParserCtxt(parser); }
};

// ---- Tags ------------------------------------------------------------------------------------------------

// Where a tag stands in the text: the parser tells what it read, but not from where to where.
struct Tag {
  std::uint32_t begin = 0;
  std::uint32_t end = 0;
  Markup::Kind kind = Markup::cut;
};

struct Tags {
  std::vector<Tag> rows;
  std::size_t left_open = 0;  // elements that no end tag closes
};

Tag tag_of(const Markup& markup) {
  return {static_cast<std::uint32_t>(markup.begin), static_cast<std::uint32_t>(markup.end), markup.kind};
}

// ---- The tree --------------------------------------------------------------------------------------------

std::string_view view(const xmlChar* text) {
  return text == nullptr ? std::string_view{} : std::string_view(reinterpret_cast<const char*>(text));
}

// Takes the parser's events (its SAX2 interface) and hangs up the tree. The parser's own tree is never built.
class TreeBuilder {
 public:
  TreeBuilder(std::string_view text, const std::vector<Tag>& tags, Arena& arena, const Names& names,
              const XmlReading& how, xmlParserCtxt* parser)
      : text_(text), tags_(tags), arena_(arena), names_(names), how_(how), parser_(parser) {}

  // The first element of a reading with context is what was set around the bytes.
  void open(const xmlChar* local_name, const xmlChar* prefix, const xmlChar* space, int declaration_count,
            const xmlChar** declarations, int attribute_count, const xmlChar** attributes) {
    if (stopped()) return stop();
    if (!how_.context.empty() && !context_passed_) {
      context_passed_ = true;
      return;
    }
    end_text();
    const Tag tag = step(true);
    if (frames_.empty() && root_ != nullptr) return second_root(tag.begin);
    XmlNode* node = add(XmlKind::element);
    in_empty_ = tag.kind == Markup::empty_tag;
    if (!in_empty_) frames_.push_back(node);
    const Name name = intern(local_name);
    node->name = name.number;
    node->name_text = name.text;
    node->prefix = keep_again(prefix, last_prefix_);
    node->space = keep_again(space, last_space_);
    node->begin = tag.begin;
    node->end = tag.end;
    if (name.text.size() > how_.limits.name_bytes || node->space.size() > how_.limits.name_bytes) {
      return long_name(tag);
    }
    XmlAttribute** to = &node->attributes;
    for (int i = 0; i < declaration_count; ++i) {
      // libxml2 gives prefix, or nullptr for the default namespace, and namespace.
      if (!add_attribute(tag, to, {0, arena_.keep(view(declarations[2 * i]))}, {}, xml_declarations,
                         view(declarations[2 * i + 1]))) {
        return;
      }
    }
    for (int i = 0; i < attribute_count; ++i) {
      // libxml2 gives local name, prefix, namespace, and where the value starts and ends.
      const xmlChar** row = attributes + 5 * static_cast<std::ptrdiff_t>(i);
      const std::string_view value(reinterpret_cast<const char*>(row[3]),
                                   static_cast<std::size_t>(row[4] - row[3]));
      if (!add_attribute(tag, to, intern(row[0]), keep_again(row[1], last_attribute_prefix_),
                         keep_again(row[2], last_attribute_space_), value)) {
        return;
      }
    }
  }

  void close() {
    if (stopped()) return stop();
    if (in_empty_) {
      in_empty_ = false;
      return;
    }
    if (frames_.empty()) return;
    end_text();
    frames_.back()->end = step(false).end;
    frames_.pop_back();
  }

  // A comment or a CDATA section parts a text only in the bytes.
  void add_text(std::string_view piece) {
    if (stopped()) return stop();
    if (frames_.empty()) {
      if (!is_blank(piece)) second_root(at());
      return;
    }
    if (pending_.size() + piece.size() > how_.limits.value_bytes) {
      return refuse(
          limit_error(text_, at(), "a text is longer than", how_.limits.value_bytes, " bytes", "shorten it"));
    }
    pending_ += piece;
  }

  void take(const xmlError& error) { complaint_.take(error); }

  XmlNode* root() const { return root_; }
  const std::optional<Error>& refusal() const { return refusal_; }
  Complaint& complaint() { return complaint_; }

 private:
  struct Name {
    std::uint32_t number = 0;
    std::string_view text{};
  };

  bool stopped() const { return refusal_ || complaint_.code != 0; }
  void stop() { xmlStopParser(parser_); }
  void refuse(Error error) {
    refusal_ = std::move(error);
    stop();
  }
  // The parser tells it itself, but not of bytes that are read in a context.
  void second_root(std::size_t offset) {
    refuse(error_at(text_, offset, beside_root.message, beside_root.mend));
  }
  void long_name(const Tag& tag) {
    refuse(limit_error(text_, tag.begin, "a name is longer than", how_.limits.name_bytes, " bytes",
                       "shorten it"));
  }

  // Names come from the parser's dictionary: the same few again and again, at the same address. What stands
  // there is compared all the same.
  Name intern(const xmlChar* name) {
    const std::string_view text = view(name);
    Name& kept = cache_[(reinterpret_cast<std::uintptr_t>(name) >> 3) % cache_.size()];
    if (kept.text != text || text.empty()) kept = {names_.find(text), arena_.keep(text)};
    return kept;
  }
  // Namespaces and prefixes repeat even more.
  std::string_view keep_again(const xmlChar* text, std::string_view& last) {
    if (view(text) != last) last = arena_.keep(view(text));
    return last;
  }

  // The next tag of the kind that the parser just told of; it goes the same way.
  Tag step(bool opening) {
    for (; next_tag_ < tags_.size(); ++next_tag_) {
      if ((tags_[next_tag_].kind != Markup::end_tag) == opening) return tags_[next_tag_++];
    }
    const auto end = static_cast<std::uint32_t>(text_.size());
    return {end, end, Markup::cut};
  }
  // Where the last tag ended.
  std::uint32_t at() const { return next_tag_ == 0 ? 0 : tags_[next_tag_ - 1].end; }

  XmlNode* add(XmlKind kind) {
    auto* node = arena_.make<XmlNode>();
    node->kind = kind;
    if (frames_.empty()) {
      root_ = node;
    } else {
      append(*frames_.back(), node);
    }
    return node;
  }

  bool add_attribute(const Tag& tag, XmlAttribute**& to, const Name& name, std::string_view prefix,
                     std::string_view space, std::string_view value) {
    if (value.size() > how_.limits.value_bytes) {
      refuse(limit_error(text_, tag.begin, "an attribute is longer than", how_.limits.value_bytes, " bytes",
                         "shorten it"));
      return false;
    }
    if (name.text.size() > how_.limits.name_bytes) {
      long_name(tag);
      return false;
    }
    *to = arena_.make<XmlAttribute>(name.number, name.text, prefix, space, arena_.keep(value));
    to = &(*to)->next;
    return true;
  }

  void end_text() {
    if (pending_.empty()) return;
    if (how_.keep_blank_text || !is_blank(pending_)) {
      XmlNode* node = add(XmlKind::text);
      node->text = arena_.keep(pending_);
      node->begin = at();
      node->end =
          next_tag_ < tags_.size() ? tags_[next_tag_].begin : static_cast<std::uint32_t>(text_.size());
    }
    pending_.clear();
  }

  std::string_view text_;
  const std::vector<Tag>& tags_;
  std::size_t next_tag_ = 0;
  Arena& arena_;
  const Names& names_;
  const XmlReading& how_;
  xmlParserCtxt* parser_;
  Complaint complaint_;
  bool context_passed_ = false;
  bool in_empty_ = false;  // its end is told, but has no tag
  std::array<Name, 128> cache_{};
  std::string_view last_prefix_{}, last_space_{}, last_attribute_prefix_{}, last_attribute_space_{};
  std::string pending_;
  std::vector<XmlNode*> frames_;
  XmlNode* root_ = nullptr;
  std::optional<Error> refusal_;
};

extern "C" {

void take_start(void* to, const xmlChar* local_name, const xmlChar* prefix, const xmlChar* space,
                int declaration_count, const xmlChar** declarations, int attribute_count, int,
                const xmlChar** attributes) {
  static_cast<TreeBuilder*>(to)->open(local_name, prefix, space, declaration_count, declarations,
                                      attribute_count, attributes);
}

void take_end(void* to, const xmlChar*, const xmlChar*, const xmlChar*) {
  static_cast<TreeBuilder*>(to)->close();
}

void take_text(void* to, const xmlChar* text, int size) {
  static_cast<TreeBuilder*>(to)->add_text(
      {reinterpret_cast<const char*>(text), static_cast<std::size_t>(size)});
}

void take_error(void* to, xmlError* error) {
  if (error != nullptr) static_cast<TreeBuilder*>(to)->take(*error);
}

}  // extern "C"

xmlSAXHandler events() {
  xmlSAXHandler handler{};
  handler.initialized = XML_SAX2_MAGIC;
  handler.startElementNs = take_start;
  handler.endElementNs = take_end;
  handler.characters = take_text;
  handler.ignorableWhitespace = take_text;
  handler.cdataBlock = take_text;
  handler.serror = take_error;
  return handler;
}

// Looks over the brackets before the parser is asked: no document type ever reaches it, and nothing long or
// deep. (The parser's time grows with the square of a comment's length, and of the number of attributes.)
// Tells where the tags stand.
Result<Tags> look_over(std::string_view text, std::size_t start, const XmlLimits& limits) {
  const auto shorter = [&](std::size_t offset, std::string what, std::size_t limit) {
    return limit_error(text, offset, std::move(what), limit, " bytes", "shorten it");
  };
  const std::size_t deepest = std::min(limits.depth, XmlLimits::deepest);
  const std::size_t most_nodes = std::max(limits.nodes, text.size() / limits.bytes_a_node);
  std::size_t nodes = 0;
  bool before_root = true;
  Tags tags;
  tags.rows.reserve(64);
  std::size_t& depth = tags.left_open;
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
        nodes += 1 + tag.values;
        if (nodes > most_nodes) {
          return limit_error(text, tag.begin, "there are more than", most_nodes,
                             " elements and attributes in one text", "split it into several records");
        }
        if (tag.kind == Markup::start_tag) ++depth;
        tags.rows.push_back(tag_of(tag));
        break;
      case Markup::end_tag:
        tags.rows.push_back(tag_of(tag));
        if (depth > 0) --depth;
        break;
      case Markup::other:
        break;
      case Markup::cut:
        return tags;
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
  const auto tags = look_over(text, start, how.limits);
  if (!tags) return tags.error();
  const std::size_t nul = text.find('\0');
  if (nul != std::string_view::npos) {
    return error_at(text, nul, "there is a NUL byte", "take it out");
  }

  const std::unique_ptr<xmlParserCtxt, FreeParser> parser(xmlNewParserCtxt());
  if (parser == nullptr) return Error{Error::unreadable, "no memory for an XML parser", {}, 0, 0, ""};
  TreeBuilder builder(text, tags->rows, arena, names, how, parser.get());
  *parser->sax = events();
  parser->userData = &builder;
  const bool in_context = !how.context.empty();
  std::string given;
  given.reserve(how.context.size() + text.size() + 32);
  if (in_context) given.append("<context").append(how.context).append(">");
  const std::size_t opening = given.size();
  given.append(text.substr(start)).append(in_context ? "</context>" : "");
  // Given as a string, the parser works on these bytes and has no buffer of its own to ask for more at each
  // step. No entity can be declared, so the only references that are put in are XML's own five and
  // characters; and look_over has kept everything short, so the parser need not (it would refuse the end of a
  // long text).
  xmlCtxtReadDoc(
      parser.get(), reinterpret_cast<const xmlChar*>(given.c_str()), nullptr, nullptr,
      XML_PARSE_NONET | XML_PARSE_NOENT | XML_PARSE_HUGE | XML_PARSE_IGNORE_ENC | XML_PARSE_NOWARNING);
  if (builder.refusal()) return *builder.refusal();
  Complaint& complaint = builder.complaint();
  // For the parser, an end too early is an end of the document like another.
  if (complaint.code == XML_ERR_DOCUMENT_END && tags->left_open > 0)
    complaint.code = XML_ERR_TAG_NOT_FINISHED;
  if (complaint.code != 0) return error_of(complaint, opening);
  if (builder.root() == nullptr) {
    return error_at(text, text.size(), "there is no XML element", "give a document with one root element");
  }
  return XmlDocument{builder.root(), text};
}

}  // namespace charpie::syntax
