// The XML reader and writer: XML 1.0 (5th edition) and Namespaces in XML 1.0, sections named at the cases.
#include "syntax/xml.hpp"

#include <doctest/doctest.h>

#include <ctime>
#include <string>

#include "syntax/json.hpp"
#include "syntax/xml_markup.hpp"
#include "syntax/xml_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

struct Reading {
  std::string bytes;
  Arena arena;
  Names names;
  XmlReading how;

  Result<XmlDocument> read(std::string text) {
    bytes = std::move(text);
    return read_xml(bytes, arena, names, how);
  }
};

std::string repeated(std::string_view text, std::size_t count) {
  std::string out;
  for (std::size_t i = 0; i < count; ++i) out += text;
  return out;
}

// A tree as one line: {space}name[prefix:attribute=value …](children) and 'text'.
std::string shown(const XmlNode& node) {
  if (!node.is_element()) return "'" + std::string(node.text) + "'";
  std::string out;
  if (!node.space.empty()) out += "{" + std::string(node.space) + "}";
  out += node.name_text;
  for (const auto* one = node.attributes; one != nullptr; one = one->next) {
    out += "[";
    if (!one->space.empty()) out += "{" + std::string(one->space) + "}";
    out += std::string(one->name_text) + "=" + std::string(one->value) + "]";
  }
  std::string inside;
  for (const auto* child = node.first; child != nullptr; child = child->next) {
    inside += (inside.empty() ? "" : " ") + shown(*child);
  }
  if (!inside.empty()) out += "(" + inside + ")";
  return out;
}

std::string tree(std::string text, XmlReading how = {}) {
  Reading reading;
  reading.how = how;
  const auto document = reading.read(std::move(text));
  if (!document) {
    return "refused " + std::to_string(document.error().line) + ":" +
           std::to_string(document.error().column) + " " + document.error().message;
  }
  return shown(*document->root);
}

// The refusal with line and column, or "" when the text is taken.
std::string refusal(std::string text, XmlReading how = {}) {
  Reading reading;
  reading.how = how;
  const std::clock_t start = std::clock();
  const auto document = reading.read(std::move(text));
  // CPU time: the machine may be busy.
  CHECK(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC < 1.0);
  if (document) return "";
  CHECK(document.error().kind == Error::invalid);
  CHECK_FALSE(document.error().mend.empty());
  return std::to_string(document.error().line) + ":" + std::to_string(document.error().column) + " " +
         document.error().message;
}

std::string utf16(std::u16string_view text, bool big) {
  std::string out;
  for (const char16_t c : text) {
    const char high = static_cast<char>(c >> 8), low = static_cast<char>(c & 0xFF);
    out += big ? high : low;
    out += big ? low : high;
  }
  return out;
}

// The stretch of the text that a node says it is.
std::string_view own(const XmlDocument& document, const XmlNode& node) {
  return document.text.substr(node.begin, node.end - node.begin);
}

}  // namespace

TEST_CASE("elements, attributes and texts keep their order") {
  CHECK(tree("<a/>") == "a");
  CHECK(tree("<a></a>") == "a");
  CHECK(tree("<a b='1' c=\"2\"><d/>x<e>y</e>z</a>") == "a[b=1][c=2](d 'x' e('y') 'z')");
  CHECK(tree("<a>\n  <b/>\n  <c> </c>\n</a>") == "a(b c)");
  XmlReading keep;
  keep.keep_blank_text = true;
  CHECK(tree("<a> <b/>\n</a>", keep) == "a(' ' b '\n')");
}

TEST_CASE("comments, instructions and CDATA sections are no elements") {
  CHECK(tree("<!-- > --><?go <b> ?><a>x<!-- <b> -->y<![CDATA[<&>]]>z<?go?></a><!-- -->") == "a('xy<&>z')");
}

TEST_CASE("references and line ends") {
  // XML 1.0 sections 4.6 (predefined entities), 4.1 (character references), 2.11 (line ends).
  CHECK(tree("<a b='&lt;&amp;&gt;&quot;&apos;&#176;&#xB0;'>&lt;&amp;&gt;&#x20AC;</a>") ==
        "a[b=<&>\"'\u00B0\u00B0]('<&>\u20AC')");
  CHECK(tree("<a>1\r\n2\r3&#xD;4</a>") == "a('1\n2\n3\r4')");
  // Section 3.3.3: bare white space in an attribute becomes spaces, references stay.
  CHECK(tree("<a b='1\n2\t3&#xA;4'/>") == "a[b=1 2 3\n4]");
}

TEST_CASE("a text of nothing but tags is refused before a tree is made of it") {
  XmlReading how;
  how.limits.nodes = 4;
  CHECK(refusal("<a><b c='1'/><b/></a>", how) == "");
  CHECK(refusal("<a><b c='1'/><b/><b/></a>", how) ==
        "1:18 there are more than 4 elements and attributes in one text");
  CHECK(refusal("<a>" + repeated("a longer text ", 4) + "<b c='1'/><b/><b/></a>", how) == "");
  CHECK(refusal("<a>" + repeated("<b/>", 300'000) + "</a>")
            .starts_with("1:1000000 there are more than 250000 "));
}

TEST_CASE("a namespace's name is decoded once") {
  CHECK(tree("<p:a xmlns:p='urn:x?1&amp;2'/>")
            .starts_with("{urn:x?1&2}a[{http://www.w3.org/2000/xmlns/}p=urn:x?1&2]"));
  CHECK(tree("<a xmlns='urn:x?&amp;%2338;'/>").starts_with("{urn:x?&%2338;}a"));
  CHECK(tree("<a xmlns='urn:x?&amp;&#35;38;'/>").starts_with("{urn:x?&#38;}a"));
}

TEST_CASE("namespaces") {
  CHECK(tree("<a xmlns='urn:x' xmlns:p='urn:p' p:b='1' b='2'><p:c/><d xmlns=''/></a>") ==
        "{urn:x}a[{http://www.w3.org/2000/xmlns/}=urn:x][{http://www.w3.org/2000/xmlns/}p=urn:p]"
        "[{urn:p}b=1][b=2]({urn:p}c d[{http://www.w3.org/2000/xmlns/}=])");
  CHECK(tree("<a xml:lang='de'/>") == "a[{http://www.w3.org/XML/1998/namespace}lang=de]");
  CHECK(refusal("<a xmlns='a b'/>").ends_with("a namespace is no URI"));
  CHECK(refusal("<p:a/>") == "1:5 a prefix is not declared");
  CHECK(refusal("<a xmlns:p='urn:x' xmlns:q='urn:x' p:b='1' q:b='2'/>") ==
        "1:51 an attribute stands twice in one element, by two prefixes");
}

TEST_CASE("names that were asked for have their number") {
  Reading reading;
  const auto b = reading.names.add("b");
  const auto document = reading.read("<a><b c='1'/><b/></a>");
  REQUIRE(document);
  CHECK(document->root->name == 0);
  CHECK(document->root->first->name == b);
  CHECK(document->root->last->name == b);
  CHECK(document->root->count == 2);
}

TEST_CASE("every node knows its own bytes") {
  Reading reading;
  const auto document = reading.read(
      "\xEF\xBB\xBF<?xml version=\"1.0\"?>\n<!-- <b> --><a b='>'><c d='</c>'/>x<!-- < -->y<e\n>\u20AC</e "
      "></a>");
  CHECK(refusal(reading.bytes) == "2:28 an attribute value has '<' in it");
  REQUIRE_FALSE(document);
  Reading second;
  const auto good = second.read(
      "\xEF\xBB\xBF<?xml version=\"1.0\"?>\n<!-- <b> --><a b='>'><c d='/>'/>x<!-- < -->y<e\n>\u20AC</e "
      "></a>");
  REQUIRE(good);
  const XmlNode& a = *good->root;
  CHECK(own(*good, a).starts_with("<a b='>'>"));
  CHECK(own(*good, a).ends_with("</e ></a>"));
  CHECK(own(*good, *a.first) == "<c d='/>'/>");
  CHECK(own(*good, *a.first->next) == "x<!-- < -->y");
  CHECK(own(*good, *a.last) == "<e\n>\u20AC</e >");
  CHECK(own(*good, *a.last->first) == "\u20AC");
  CHECK(position(good->text, a.last->begin).line == 2);
}

TEST_CASE("encodings") {
  const std::string plain = "<a b='\u00B0'>\u20AC\U0001F600</a>";
  const std::string shown_plain = "a[b=\u00B0]('\u20AC\U0001F600')";
  CHECK(tree(plain) == shown_plain);
  CHECK(tree("\xEF\xBB\xBF" + plain) == shown_plain);
  CHECK(tree("<?xml version='1.0' encoding='utf-8'?>" + plain) == shown_plain);
  const std::u16string wide = u"<a b='\u00B0'>\u20AC\U0001F600</a>";
  CHECK(tree("\xFE\xFF" + utf16(wide, true)) == shown_plain);
  CHECK(tree("\xFF\xFE" + utf16(wide, false)) == shown_plain);
  CHECK(tree("\xFF\xFE" + utf16(u"<?xml version='1.0' encoding='UTF-16'?>" + wide, false)) == shown_plain);
  CHECK(tree("<?xml version='1.0' encoding='ISO-8859-1'?><a b='\xB0'>\xE9</a>") == "a[b=\u00B0]('\u00E9')");
  // A long text, so that decoding goes piece by piece and cuts pairs.
  const std::u16string many = u"<a>." + [] {
    std::u16string out;
    for (int i = 0; i < 50000; ++i) out += u"\U0001F600";
    return out;
  }() + u"</a>";
  CHECK(tree("\xFF\xFE" + utf16(many, false)) == "a('." + repeated("\U0001F600", 50000) + "')");
}

TEST_CASE("wrong encodings are refused") {
  CHECK(refusal("<a>\xE9</a>") == "1:4 the text is not valid UTF-8");
  CHECK(refusal("<a>\n\u00B0\xC0\xAF</a>") == "2:2 the text is not valid UTF-8");
  CHECK(refusal("<a>\xED\xA0\x80</a>") == "1:4 the text is not valid UTF-8");
  CHECK(refusal("<?xml version='1.0' encoding='UTF-7'?><a>+ADw-b+AD4-</a>") ==
        "1:1 the declared encoding is none of UTF-8, UTF-16, ISO-8859-1");
  CHECK(refusal("<?xml version='1.0' encoding='windows-1252'?><a>\x80</a>") ==
        "1:1 the declared encoding is none of UTF-8, UTF-16, ISO-8859-1");
  CHECK(refusal("<?xml version='1.0' encoding='UTF-16'?><a/>") ==
        "1:1 the declared encoding is none of UTF-8, UTF-16, ISO-8859-1");
  CHECK(refusal("\xEF\xBB\xBF<?xml version='1.0' encoding='ISO-8859-1'?><a/>") ==
        "1:1 the declared encoding is not that of the byte-order mark");
  CHECK(refusal("\xFF\xFE" + utf16(u"<?xml version='1.0' encoding='UTF-8'?><a/>", false)) ==
        "1:1 the declared encoding is not that of the byte-order mark");
  CHECK(refusal(utf16(u"<a/>", false)) == "1:1 the text looks like UTF-16 without a byte-order mark");
  CHECK(refusal("\xFF\xFE" + utf16(u"<a>\xD83D</a>", false)) == "1:4 the text is not valid UTF-16");
  CHECK(refusal("\xFF\xFE<") == "1:1 the text is not valid UTF-16");
  CHECK(refusal("<?xml version='1.0' encoding='ISO-8859-1'?><a>\x80</a>") ==
        "1:47 the text declares ISO-8859-1 and has a byte between 80 and 9F");
}

TEST_CASE("a document type is refused, whatever it holds") {
  const std::string message = "there is a document type (DOCTYPE)";
  std::string laughs = "<!DOCTYPE lolz [<!ENTITY lol \"lol\">";
  for (int i = 1; i < 10; ++i) {
    laughs += "<!ENTITY lol" + std::to_string(i) + " \"" +
              repeated("&lol" + (i == 1 ? "" : std::to_string(i - 1)) + ";", 10) + "\">";
  }
  laughs += "]><a>&lol9;</a>";
  CHECK(refusal("<?xml version=\"1.0\"?>\n" + laughs) == "2:1 " + message);
  CHECK(refusal("<!-- --> " + laughs) == "1:10 " + message);
  CHECK(refusal("<!DOCTYPE a [<!ENTITY e SYSTEM \"file:///etc/passwd\">]><a>&e;</a>") == "1:1 " + message);
  CHECK(refusal("<!DOCTYPE a SYSTEM \"http://192.0.2.1/a.dtd\"><a/>") == "1:1 " + message);
  CHECK(refusal("<!DOCTYPE a [<!ENTITY % p SYSTEM \"http://192.0.2.1/\"> %p;]><a/>") == "1:1 " + message);
  CHECK(refusal("\xFE\xFF" + utf16(u"<!DOCTYPE a><a/>", true)) == "1:1 " + message);
  CHECK(refusal("<!DOCTYPE html><html/>") == "1:1 " + message);
  CHECK(refusal("<!ENTITY e 'x'><a/>") == "1:1 there is a declaration that only a document type may hold");
  CHECK(refusal("<a>&e;</a>") == "1:7 an entity is used that XML does not know");
  CHECK(refusal("<a b='&nbsp;'/>") == "1:13 an entity is used that XML does not know");
}

TEST_CASE("limits are kept, quickly") {
  CHECK(tree(repeated("<a>", 64) + repeated("</a>", 64)).starts_with("a(a("));
  CHECK(refusal(repeated("<a>", 65) + repeated("</a>", 65)) ==
        "1:193 elements are nested deeper than 64 levels");
  CHECK(refusal(repeated("<a>", 1000000)) == "1:193 elements are nested deeper than 64 levels");
  XmlReading deep;
  deep.limits.depth = 100000;
  CHECK(refusal(repeated("<a>", 300), deep) == "1:751 elements are nested deeper than 250 levels");

  const std::string mebibyte(1024 * 1024, 'x');
  CHECK(refusal("<a b='" + mebibyte + "'/>") == "");
  CHECK(refusal("<a b='" + mebibyte + "x'/>") == "1:1 an attribute is longer than 1048576 bytes");
  CHECK(refusal("<a b='" + repeated(mebibyte, 60) + "'/>") == "1:1 a tag is longer than 2097152 bytes");
  CHECK(refusal("<a>" + mebibyte + "</a>") == "");
  CHECK(refusal("<a>" + mebibyte + "x</a>") == "1:4 a text is longer than 1048576 bytes");
  CHECK(refusal("<a>" + repeated(mebibyte, 60) + "</a>").ends_with("a text is longer than 1048576 bytes"));
  CHECK(refusal("<a><!--" + repeated(mebibyte, 60) + "--></a>") ==
        "1:4 a comment or processing instruction is longer than 65536 bytes");
  const std::string comment = "<!--" + std::string(65000, 'x') + "-->";
  CHECK(refusal("<a>" + repeated(comment, 1000) + "</a>") == "");
  CHECK(refusal("<a>" + repeated("<b c='" + mebibyte + "'/>", 60) + "</a>") == "");
  CHECK(refusal("<a><![CDATA[" + repeated(mebibyte, 60) + "]]></a>") ==
        "1:4 a text is longer than 1048576 bytes");
  std::string attributes;
  for (int i = 0; i < 65; ++i) attributes += " a" + std::to_string(i) + "='1'";
  CHECK(refusal("<a" + attributes + "/>") == "1:1 an element has more than 64 attributes");
  std::string many;
  for (int i = 0; i < 100000; ++i) many += " a" + std::to_string(i) + "='1'";
  CHECK(refusal("<a" + many + "/>") == "1:1 an element has more than 64 attributes");
  CHECK(refusal("<" + std::string(257, 'n') + "/>") == "1:1 a name is longer than 256 bytes");
  CHECK(refusal(repeated("<!--" + std::string(60000, 'x') + "-->", 2) + "<a/>") ==
        "1:120015 before the root element stand more than 65536 bytes");
  CHECK(refusal(repeated(mebibyte, 65)) == "1:1 the XML text is longer than 67108864 bytes");
}

TEST_CASE("what is not well-formed is refused at its place") {
  CHECK(refusal("") == "1:1 there is no XML element");
  CHECK(refusal("  ") == "1:3 there is no XML element");
  CHECK(refusal("text") == "1:1 the text does not start with an element");
  CHECK(refusal("{\"a\":1}") == "1:1 the text does not start with an element");
  CHECK(refusal("<a>") == "1:4 an element is not closed");
  CHECK(refusal("<a><b></a>") == "1:11 an end tag is not that of the open element");
  CHECK(refusal("<a>\n<b>\n</c></b></a>") == "3:5 an end tag is not that of the open element");
  CHECK(refusal("<a/><b/>") == "1:5 there is something beside the root element");
  CHECK(refusal("<a/>text") == "1:5 there is something beside the root element");
  CHECK(refusal("<a b='1' b='2'/>") == "1:15 an attribute stands twice in one element");
  CHECK(refusal("<a b=1/>") == "1:6 an attribute has no quoted value");
  CHECK(refusal("<a b/>") == "1:5 an attribute has no value");
  CHECK(refusal("<a b='1/>").ends_with("an attribute value is not closed"));
  CHECK(refusal("<a>1 < 2</a>").starts_with("1:7 "));
  CHECK(refusal("<a>Q & A</a>").starts_with("1:7 "));
  CHECK(refusal("<a>&#0;</a>").ends_with("there is a character that XML cannot hold"));
  CHECK(refusal("<a>&#xFFFE;</a>").ends_with("there is a character that XML cannot hold"));
  CHECK(refusal("<a>\x01</a>").ends_with("there is a character that XML cannot hold"));
  CHECK(refusal("<a>\xEF\xBF\xBE</a>").ends_with("there is a character that XML cannot hold"));
  CHECK(refusal(std::string("<a>\0</a>", 8)) == "1:4 there is a NUL byte");
  CHECK(refusal("<a>]]></a>").ends_with("]]> stands in a text"));
  CHECK(refusal("<a><!-- -- --></a>").ends_with("a comment has -- in it"));
  CHECK(refusal("<a><!-- ") != "");
  CHECK(refusal("<a><![CDATA[ ") != "");
  CHECK(refusal(" <?xml version='1.0'?><a/>")
            .ends_with("the XML declaration does not stand at the very start"));
}

TEST_CASE("an element cut out of its document is read where its prefixes hold") {
  XmlReading there;
  there.context = " xmlns:p=\"urn:p\" xmlns=\"urn:d\"";
  CHECK(tree("<p:a b='1'><c/></p:a>", there) == "{urn:p}a[b=1]({urn:d}c)");
  CHECK(refusal("<p:a>\n</p:b>", there) == "2:7 an end tag is not that of the open element");
  CHECK(refusal("<p:a></p:b>", there) == "1:12 an end tag is not that of the open element");
  CHECK(refusal("<a/><b/>", there) == "1:5 there is something beside the root element");
  CHECK(refusal("</context><context>", there) != "");
}

TEST_CASE("messages do not repeat the data") {
  for (const char* text :
       {"<Secret></Other>", "<a Secret='1' Secret='2'/>", "<Secret:a/>", "<a>&Secret;</a>"}) {
    CHECK(refusal(text).find("ecret") == std::string::npos);
  }
}

TEST_CASE("XML is told from JSON by its first character") {
  CHECK(looks_like_xml("<a/>"));
  CHECK(looks_like_xml("\xEF\xBB\xBF \n<a/>"));
  CHECK(looks_like_xml("\xFF\xFE<"));
  CHECK_FALSE(looks_like_xml("{\"a\":\"<\"}"));
  CHECK_FALSE(looks_like_xml("\n[1]"));
  CHECK_FALSE(looks_like_xml(""));
}

TEST_CASE("what is written is read again the same") {
  const std::string hard = "a<b>&\"'c\t\n\r]]>\u20AC\U0001F600 \x7F \u0085";
  std::string out = "<a";
  REQUIRE(write_xml_attribute("b", hard, out));
  out += '>';
  REQUIRE(write_xml_text(hard, out));
  out += "</a>";
  CHECK(tree(out) == "a[b=" + hard + "]('" + hard + "')");
  CHECK(out.find('\r') == std::string::npos);

  Reading reading;
  const std::string text =
      "<p:a xmlns:p=\"urn:p\" xmlns=\"urn:d\" p:b=\"&#xA;&lt;\"><c/>x &amp; y<d xml:lang=\"de\">z</d></p:a>";
  const auto document = reading.read(text);
  REQUIRE(document);
  std::string again;
  REQUIRE(write_xml(*document->root, again));
  CHECK(again == text);
}

TEST_CASE("what XML cannot hold is not written") {
  for (const std::string& text :
       {std::string("\x01"), std::string("long enough for a run of sixteen \x1F"), std::string("a\0b", 3),
        std::string("\xEF\xBF\xBF"), std::string("\xC3"), std::string("\u20AC\xED\xA0\x80")}) {
    std::string out = "before";
    CHECK_FALSE(write_xml_text(text, out));
    CHECK_FALSE(write_xml_attribute("a", text, out));
    CHECK(out == "before");
  }
}

TEST_CASE("markup is found by its brackets") {
  const auto kinds = [](std::string_view text) {
    std::string out;
    for (std::size_t at = 0;;) {
      const Markup tag = next_markup(text, at);
      if (tag.kind == Markup::cut) return out + (tag.begin == text.size() ? "." : "|");
      out += "sed!o"[tag.kind];
      at = tag.end;
    }
  };
  CHECK(kinds("<?x?><a b='>'><!-- <c> --><c/><![CDATA[</a>]]></a>") == "osoeod.");
  CHECK(kinds("<!DOCTYPE a>") == "!.");
  CHECK(kinds("<a><b c='") == "s|");
  CHECK(kinds("<a><!-") == "s|");
  CHECK(kinds("<a><![CDAT") == "s|");
  CHECK(kinds("<a><") == "s|");
  CHECK(tag_name("<a:b c='d'>") == "a:b");
  CHECK(tag_name("</a>") == "a");
  CHECK(tag_name("<a/>") == "a");
}
