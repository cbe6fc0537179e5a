#include "syntax/xml_encoding.hpp"

#include <libxml/encoding.h>

#include <algorithm>
#include <vector>

#include "base/text.hpp"

namespace charpie::syntax {

namespace {

constexpr std::string_view white_space = " \t\r\n";

// The value of `encoding` in an XML declaration at the start of the text; empty when there is none.
std::string_view declared_encoding(std::string_view text) {
  if (!text.starts_with("<?xml") || text.size() < 6 || white_space.find(text[5]) == std::string_view::npos) {
    return {};
  }
  const std::string_view declaration = text.substr(0, text.find("?>"));
  std::size_t at = declaration.find("encoding");
  if (at == std::string_view::npos) return {};
  at = declaration.find_first_of("\"'", at);
  if (at == std::string_view::npos) return {};
  const std::size_t end = declaration.find(declaration[at], at + 1);
  return end == std::string_view::npos ? std::string_view{} : declaration.substr(at + 1, end - at - 1);
}

// In the order in which they are tried; a mark that is there or, without one, what is declared decides.
constexpr XmlEncoding encodings[] = {
    {"UTF-8", "\xEF\xBB\xBF", false, 0},
    {"UTF-16", "\xFE\xFF", false, XML_CHAR_ENCODING_UTF16BE},
    {"UTF-16", "\xFF\xFE", false, XML_CHAR_ENCODING_UTF16LE},
    {"ISO-8859-1", "", true, XML_CHAR_ENCODING_8859_1},
    {"US-ASCII", "", true, 0},
    {"UTF-8", "", false, 0},
};

Error refuse(std::string message, std::string mend) {
  return {Error::invalid, std::move(message), {}, 1, 1, std::move(mend)};
}

}  // namespace

Result<XmlEncoding> recognise_xml_encoding(std::string_view start) {
  if (start.size() >= 2 && ((start[0] == '\0') != (start[1] == '\0'))) {
    return refuse("the text looks like UTF-16 without a byte-order mark", "save it as UTF-8");
  }
  const std::string_view declared = declared_encoding(start);
  for (const XmlEncoding& encoding : encodings) {
    if (!start.starts_with(encoding.mark)) continue;
    if (encoding.must_be_declared && !same_ignoring_case(declared, encoding.name)) continue;
    std::string decoded;
    std::string_view rest = start.substr(encoding.mark.size(), xml_encoding_start);
    (void)decode_xml(encoding, rest, decoded);  // whoever reads on will meet what is wrong
    const std::string_view says = declared_encoding(decoded);
    if (says.empty() || same_ignoring_case(says, encoding.name)) return encoding;
    return refuse(encoding.mark.empty() ? "the declared encoding is none of UTF-8, UTF-16, ISO-8859-1"
                                        : "the declared encoding is not that of the byte-order mark",
                  "save the text as UTF-8 and declare that");
  }
  return refuse("the encoding is none of UTF-8, UTF-16, ISO-8859-1", "save the text as UTF-8");
}

bool decode_xml(const XmlEncoding& encoding, std::string_view& bytes, std::string& out) {
  if (encoding.is_utf8()) {
    out += bytes;
    bytes = {};
    return true;
  }
  // (libxml2's functions that take buffers would write to standard error.)
  const xmlCharEncodingHandler* handler =
      xmlGetCharEncodingHandler(static_cast<xmlCharEncoding>(encoding.decoder));
  if (handler == nullptr || handler->input == nullptr) return false;
  const bool latin = encoding.decoder == XML_CHAR_ENCODING_8859_1;
  bool good = true;
  std::vector<unsigned char> room(std::min<std::size_t>(64u << 10, bytes.size() * 2 + 8));
  while (good && !bytes.empty()) {
    // Two bytes become three at most, one becomes two.
    std::string_view piece = bytes.substr(0, room.size() / 2);
    if (latin) {
      const auto control = std::find_if(piece.begin(), piece.end(), [](char c) {
        return static_cast<unsigned char>(c) >= 0x80 && static_cast<unsigned char>(c) < 0xA0;
      });
      good = control == piece.end();
      piece = piece.substr(0, static_cast<std::size_t>(control - piece.begin()));
    }
    int size = static_cast<int>(piece.size());
    int made = static_cast<int>(room.size());
    const int state =
        handler->input(room.data(), &made, reinterpret_cast<const unsigned char*>(piece.data()), &size);
    good = good && state != -2;
    if (made > 0) out.append(reinterpret_cast<const char*>(room.data()), static_cast<std::size_t>(made));
    if (size <= 0) break;  // half a character
    bytes.remove_prefix(static_cast<std::size_t>(size));
  }
  return good;
}

Error not_of_encoding(const XmlEncoding& encoding) {
  if (encoding.decoder == XML_CHAR_ENCODING_8859_1) {
    return refuse("the text declares ISO-8859-1 and has a byte between 80 and 9F",
                  "save it as UTF-8; it may be of a Windows code page");
  }
  return refuse("the text is not valid " + std::string(encoding.name), "save it as UTF-8");
}

}  // namespace charpie::syntax
