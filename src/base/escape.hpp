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

// Bytes at the front of [at, end) that a JSON string takes unchanged; eight at a time.
inline const char* json_plain_run(const char* at, const char* end) {
  constexpr unsigned long long ones = 0x0101010101010101ull;
  constexpr unsigned long long highs = 0x8080808080808080ull;
  while (end - at >= 8) {
    unsigned long long word;
    std::memcpy(&word, at, 8);
    const auto has_zero = [](unsigned long long x) { return (x - ones) & ~x & highs; };
    const auto found = has_zero(word ^ (ones * '"')) | has_zero(word ^ (ones * '\\')) |
                       ((word - ones * 0x20) & ~word & highs);
    if (found != 0) break;
    at += 8;
  }
  while (at != end && !json.special[static_cast<unsigned char>(*at)]) ++at;
  return at;
}

// Bytes at the front of [at, end) that XML and an attribute of it take unchanged: up to markup, quotes,
// controls, whatever is not ASCII. (Signed comparison catches the last two at once.)
inline const char* xml_plain_run(const char* at, const char* end) {
#ifdef __SSE2__
  const auto equals = [](__m128i bytes, char c) { return _mm_cmpeq_epi8(bytes, _mm_set1_epi8(c)); };
  for (; end - at >= 16; at += 16) {
    const __m128i bytes = _mm_loadu_si128(reinterpret_cast<const __m128i*>(at));
    const __m128i markup =
        _mm_or_si128(_mm_or_si128(equals(bytes, '<'), equals(bytes, '>')), equals(bytes, '&'));
    const __m128i ends = _mm_or_si128(equals(bytes, '"'), _mm_cmplt_epi8(bytes, _mm_set1_epi8(0x20)));
    const __m128i stop = _mm_or_si128(markup, ends);
    const int mask = _mm_movemask_epi8(stop);
    if (mask != 0) return at + __builtin_ctz(static_cast<unsigned>(mask));
  }
#endif
  while (at != end && static_cast<signed char>(*at) >= 0x20 && *at != '<' && *at != '>' && *at != '&' &&
         *at != '"') {
    ++at;
  }
  return at;
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

/// Appends the inside of a JSON string, without the quotes.
inline void append_json_escaped(std::string_view text, std::string& out) {
  const char* at = text.data();
  const char* end = at + text.size();
  while (true) {
    const char* stop = escaping::json_plain_run(at, end);
    out.append(at, static_cast<std::size_t>(stop - at));
    if (stop == end) return;
    char escaped[6];
    out.append(escaped, static_cast<std::size_t>(escaping::json_escape_byte(*stop, escaped) - escaped));
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
      case '\r':
        out += "&#xD;";
        break;
      default:
        out += c;
    }
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
inline void append_url_query_value(std::string_view text, std::string& out) {
  for (std::size_t at = 0; at < text.size(); ++at) {
    const auto begin = at;
    while (at < text.size() && !escaping::url.special[static_cast<unsigned char>(text[at])]) ++at;
    out.append(text, begin, at - begin);
    if (at == text.size()) return;
    const auto byte = static_cast<unsigned char>(text[at]);
    const char escaped[3] = {'%', escaping::hex_upper[byte >> 4], escaping::hex_upper[byte & 15]};
    out.append(escaped, sizeof escaped);
  }
}

}  // namespace charpie
