// Which encoding an XML text has (XML 1.0 section 4.3.3 and appendix F), and its bytes turned into UTF-8 by
// libxml2. UTF-8, UTF-16 with byte-order mark, ISO-8859-1 when declared; all else is refused.
#pragma once
#include <cstddef>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace charpie::syntax {

struct XmlEncoding {
  std::string_view name{};  // "UTF-16"
  std::string_view mark{};  // the byte-order mark that is there, or empty
  bool must_be_declared = false;
  int decoder = 0;  // libxml2's xmlCharEncoding; 0 when the bytes are UTF-8 already

  bool is_utf8() const { return decoder == 0; }
};

/// Bytes of the text's start that recognise_xml_encoding should be given, if there are as many.
inline constexpr std::size_t xml_encoding_start = 1024;

/// The encoding, by the start of a text. Error::invalid at 1:1 for one that is not taken, and where mark and
/// declaration contradict each other.
Result<XmlEncoding> recognise_xml_encoding(std::string_view start);

/// Takes bytes from the front of `bytes` (without byte-order mark) and appends them to `out` as UTF-8; half a
/// character at the end is left for the next call. False when bytes are not of that encoding: `out` then
/// ends before them. UTF-8 is only copied. ISO-8859-1's controls 80 to 9F count as wrong: in practice such a
/// text is of a Windows code page.
bool decode_xml(const XmlEncoding& encoding, std::string_view& bytes, std::string& out);

/// What to say when decode_xml gives false.
Error not_of_encoding(const XmlEncoding& encoding);

}  // namespace charpie::syntax
