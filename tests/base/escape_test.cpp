#include "base/escape.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace charpie;

namespace {

std::string json(std::string_view text) {
  std::string out;
  append_json_string(text, out);
  std::string room(json_escaped_bound(text.size()), '\0');
  const char* end = write_json_escaped(text, room.data());
  CHECK('"' + room.substr(0, static_cast<std::size_t>(end - room.data())) + '"' == out);
  return out;
}

template <class Append>
std::string with(Append append, std::string_view text) {
  std::string out;
  append(text, out);
  return out;
}

}  // namespace

TEST_CASE("JSON strings escape what RFC 8259 section 7 wants, and no more") {
  CHECK(json("") == R"("")");
  CHECK(json("plain text, / and ' and \x7F") == "\"plain text, / and ' and \x7F\"");
  CHECK(json("say \"ah\" \\ end") == R"("say \"ah\" \\ end")");
  CHECK(json("\b\f\n\r\t") == R"("\b\f\n\r\t")");
  CHECK(json(std::string_view("\0\x01\x1F", 3)) == R"("\u0000\u0001\u001f")");
  CHECK(json("Gr\xC3\xB6\xC3\x9F"
             "e \xF0\xA3\x8E\xB4") ==
        "\"Gr\xC3\xB6\xC3\x9F"
        "e \xF0\xA3\x8E\xB4\"");
}

// Every byte in every place of texts that are looked at in pieces of eight and of sixteen, against the slow
// way.
TEST_CASE("a byte is escaped wherever it stands") {
  for (const std::size_t size : {5u, 8u, 13u, 16u, 17u, 20u, 33u}) {
    for (int c = 0; c < 256; ++c) {
      for (std::size_t place = 0; place < size; ++place) {
        std::string text(size, '\xC3');
        text[place] = static_cast<char>(c);
        std::string expected = "\"" + std::string(place, '\xC3');
        char code[8];
        std::snprintf(code, sizeof code, "\\u%04x", static_cast<unsigned>(c));
        const std::string shorter = c == '\n'   ? "\\n"
                                    : c == '\r' ? "\\r"
                                    : c == '\t' ? "\\t"
                                    : c == '\b' ? "\\b"
                                                : "\\f";
        if (c == '"' || c == '\\') {
          expected += std::string("\\") + static_cast<char>(c);
        } else if (c == '\n' || c == '\r' || c == '\t' || c == '\b' || c == '\f') {
          expected += shorter;
        } else if (c < 0x20) {
          expected += code;
        } else {
          expected += static_cast<char>(c);
        }
        expected += std::string(size - 1 - place, '\xC3') + "\"";
        if (json(text) != expected) FAIL("byte " << c << " at " << place << " of " << size);
        std::string in_xml(size, 'x'), xml_expected(place, 'x');
        in_xml[place] = static_cast<char>(c);
        xml_expected += c == '<'    ? "&lt;"
                        : c == '>'  ? "&gt;"
                        : c == '&'  ? "&amp;"
                        : c == '\r' ? "&#xD;"
                                    : std::string(1, static_cast<char>(c));
        xml_expected += std::string(size - 1 - place, 'x');
        if (with(append_xml_text, in_xml) != xml_expected)
          FAIL("byte " << c << " in XML at " << place << " of " << size);
      }
    }
  }
}

TEST_CASE("XML text and attributes (XML 1.0 sections 2.4, 2.11, 3.3.3)") {
  CHECK(with(append_xml_text, "3 < 4 & 5 > 2 \"q\" 'a'") == "3 &lt; 4 &amp; 5 &gt; 2 \"q\" 'a'");
  CHECK(with(append_xml_text, "]]>") == "]]&gt;");
  CHECK(with(append_xml_text, "a\tb\nc\rd") == "a\tb\nc&#xD;d");
  CHECK(with(append_xml_attribute, "a\tb\nc\rd") == "a&#x9;b&#xA;c&#xD;d");
  CHECK(with(append_xml_attribute, "<&\">'") == "&lt;&amp;&quot;&gt;'");
  CHECK(with(append_xml_text, "") == "");
}

TEST_CASE("URL query values (RFC 3986 sections 2.1 and 2.3)") {
  CHECK(with(append_url_query_value<std::string>, "azAZ09-._~") == "azAZ09-._~");
  CHECK(with(append_url_query_value<std::string>, "urn:site|A 17&x=1+2/?#%") ==
        "urn%3Asite%7CA%2017%26x%3D1%2B2%2F%3F%23%25");
  CHECK(with(append_url_query_value<std::string>, "\xC3\xA9") == "%C3%A9");
}
