// Text put into JSON strings, XML text and attributes, and URL query values.
#pragma once
#include <cstring>
#include <string>
#include <string_view>

#ifdef __SSE2__
#include <emmintrin.h>
#endif

namespace charpie {

namespace escaping {

// For each byte: 0 it goes as it is; otherwise it is replaced. JSON: RFC 8259 section 7.
struct ByteClass {
  bool special[256] = {};
};

constexpr ByteClass json_bytes() {
  ByteClass table;
  for (int c = 0; c < 0x20; ++c) table.special[c] = true;
  table.special[static_cast<unsigned char>('"')] = true;
  table.special[static_cast<unsigned char>('\\')] = true;
  return table;
}
inline constexpr ByteClass json = json_bytes();

constexpr ByteClass url_kept_bytes() {
  ByteClass table;
  for (int c = 0; c < 256; ++c) {
    const bool unreserved = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
                            c == '-' || c == '.' || c == '_' || c == '~';
    table.special[c] = !unreserved;
  }
  return table;
}
inline constexpr ByteClass url = url_kept_bytes();

inline constexpr char hex_lower[] = "0123456789abcdef";
inline constexpr char hex_upper[] = "0123456789ABCDEF";

// What ends a run of bytes that go as they are: in a JSON string a quote, a backslash, controls.
struct JsonStops {
  static bool at(char c) { return json.special[static_cast<unsigned char>(c)]; }
#ifdef __SSE2__
  static __m128i among(__m128i bytes) {
    const __m128i controls = _mm_cmpeq_epi8(_mm_min_epu8(bytes, _mm_set1_epi8(0x1F)), bytes);
    return _mm_or_si128(controls, _mm_or_si128(_mm_cmpeq_epi8(bytes, _mm_set1_epi8('"')),
                                               _mm_cmpeq_epi8(bytes, _mm_set1_epi8('\\'))));
  }
#endif
};

// In XML and an attribute of it markup, a quote, controls, whatever is not ASCII. (Signed comparison catches
// the last two at once.)
struct XmlStops {
  static bool at(char c) {
    return static_cast<signed char>(c) < 0x20 || c == '<' || c == '>' || c == '&' || c == '"';
  }
#ifdef __SSE2__
  static __m128i among(__m128i bytes) {
    const auto equals = [&](char c) { return _mm_cmpeq_epi8(bytes, _mm_set1_epi8(c)); };
    const __m128i markup = _mm_or_si128(_mm_or_si128(equals('<'), equals('>')), equals('&'));
    return _mm_or_si128(markup, _mm_or_si128(equals('"'), _mm_cmplt_epi8(bytes, _mm_set1_epi8(0x20))));
  }
#endif
};

// One past the bytes at the front of [at, end) that go as they are. Sixteen at a time; the last ones lie upon
// some that were looked at already.
template <class Stops>
inline const char* plain_run(const char* at, const char* end) {
#ifdef __SSE2__
  const auto stops = [](__m128i bytes) {
    return static_cast<unsigned>(_mm_movemask_epi8(Stops::among(bytes)));
  };
  const auto first = [&](const char* from) {
    const auto found = stops(_mm_loadu_si128(reinterpret_cast<const __m128i*>(from)));
    return found == 0 ? from + 16 : from + __builtin_ctz(found);
  };
  if (end - at >= 16) {
    for (; end - at > 16; at += 16) {
      if (const char* stop = first(at); stop != at + 16) return stop;
    }
    return first(end - 16);
  }
  if (end - at >= 8) {
    const auto eight = [](const char* from) {
      return _mm_loadl_epi64(reinterpret_cast<const __m128i*>(from));
    };
    const auto found = stops(_mm_unpacklo_epi64(eight(at), eight(end - 8)));
    if (found == 0) return end;
    const int place = __builtin_ctz(found);
    return place < 8 ? at + place : end - 16 + place;
  }
#endif
  while (at != end && !Stops::at(*at)) ++at;
  return at;
}

inline const char* json_plain_run(const char* at, const char* end) {
  return plain_run<JsonStops>(at, end);
}

inline const char* xml_plain_run(const char* at, const char* end) {
  return plain_run<XmlStops>(at, end);
}

// Writes the escape of one special byte; at most six characters.
inline char* json_escape_byte(char c, char* to) {
  *to++ = '\\';
  switch (c) {
    case '"':
      *to++ = '"';
      return to;
    case '\\':
      *to++ = '\\';
      return to;
    case '\b':
      *to++ = 'b';
      return to;
    case '\f':
      *to++ = 'f';
      return to;
    case '\n':
      *to++ = 'n';
      return to;
    case '\r':
      *to++ = 'r';
      return to;
    case '\t':
      *to++ = 't';
      return to;
    default:
      std::memcpy(to, "u00", 3);
      to[3] = hex_lower[static_cast<unsigned char>(c) >> 4];
      to[4] = hex_lower[static_cast<unsigned char>(c) & 15];
      return to + 5;
  }
}

}  // namespace escaping

/// Room that write_json_escaped needs at most for a text of that many bytes.
constexpr std::size_t json_escaped_bound(std::size_t size) {
  return size * 6;
}

/// Writes the inside of a JSON string (no quotes) to a buffer of at least json_escaped_bound() bytes; returns
/// one past the last byte written. The text is UTF-8 and stays UTF-8.
inline char* write_json_escaped(std::string_view text, char* to) {
  const char* at = text.data();
  const char* end = at + text.size();
  while (true) {
    const char* stop = escaping::json_plain_run(at, end);
    if (stop != at) std::memcpy(to, at, static_cast<std::size_t>(stop - at));
    to += stop - at;
    if (stop == end) return to;
    to = escaping::json_escape_byte(*stop, to);
    at = stop + 1;
  }
}

// Below, `Text` is std::string or Appender (base/appender.hpp).

/// Appends the inside of a JSON string, without the quotes.
template <class Text>
inline void append_json_escaped(std::string_view text, Text& out) {
  const char* at = text.data();
  const char* end = at + text.size();
  while (true) {
    const char* stop = escaping::json_plain_run(at, end);
    out += std::string_view(at, static_cast<std::size_t>(stop - at));
    if (stop == end) return;
    char escaped[6];
    out += std::string_view(escaped,
                            static_cast<std::size_t>(escaping::json_escape_byte(*stop, escaped) - escaped));
    at = stop + 1;
  }
}

/// Appends a JSON string with its quotes.
inline void append_json_string(std::string_view text, std::string& out) {
  out += '"';
  append_json_escaped(text, out);
  out += '"';
}

/// Appends character data of XML or XHTML. A carriage return is written as a reference, because a reader
/// turns a bare one into a line feed (XML 1.0 section 2.11); '>' too, so that "]]>" never stands in the text.
inline void append_xml_text(std::string_view text, std::string& out) {
  const char* at = text.data();
  const char* const end = at + text.size();
  while (true) {
    const char* const stop = escaping::xml_plain_run(at, end);
    out.append(at, stop);
    if (stop == end) return;
    switch (*stop) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '\r':
        out += "&#xD;";
        break;
      default:
        out += *stop;
    }
    at = stop + 1;
  }
}

/// Appends an attribute value for double quotes. Tabs and line ends are written as references, because a
/// reader turns bare ones into spaces (XML 1.0 section 3.3.3).
inline void append_xml_attribute(std::string_view text, std::string& out) {
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\t':
        out += "&#x9;";
        break;
      case '\n':
        out += "&#xA;";
        break;
      case '\r':
        out += "&#xD;";
        break;
      default:
        out += c;
    }
  }
}

/// Appends a value for a URL's query: every byte but the unreserved ones of RFC 3986 section 2.3 as %XX.
template <class Text>
inline void append_url_query_value(std::string_view text, Text& out) {
  for (std::size_t at = 0; at < text.size(); ++at) {
    const auto begin = at;
    while (at < text.size() && !escaping::url.special[static_cast<unsigned char>(text[at])]) ++at;
    out += text.substr(begin, at - begin);
    if (at == text.size()) return;
    const auto byte = static_cast<unsigned char>(text[at]);
    const char escaped[3] = {'%', escaping::hex_upper[byte >> 4], escaping::hex_upper[byte & 15]};
    out += std::string_view(escaped, sizeof escaped);
  }
}

}  // namespace charpie
