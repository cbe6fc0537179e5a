// FHIR XML both ways. HL7's own examples and another program's XML are compared in tests/interop/xml; here
// are the published snippets and the hard cases, one by one.
#include "fhir/xml.hpp"

#include <doctest/doctest.h>

#include <string>

#include "syntax/json.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::fhir;

namespace {

struct Loaded {
  syntax::Names names;
  Tables tables{embedded_tables()};
  Result<Elements> r4 = Elements::load(tables, Version::r4, names);
  Result<Elements> r5 = Elements::load(tables, Version::r5, names);
};

const Loaded& loaded() {
  static const Loaded all;
  return all;
}

const std::string declaration = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";

// The XML of a JSON text, without declaration and namespace; or "refused …".
std::string xml(const std::string& json, const Elements& elements = *loaded().r4) {
  Arena arena;
  const auto tree = syntax::read_json(json, arena, elements.names());
  REQUIRE(tree);
  std::string out = "before";
  const auto done = to_xml(**tree, elements, out, json);
  if (!done) {
    CHECK(out == "before");
    CHECK_FALSE(done.error().mend.empty());
    CHECK(done.error().line == 1);
    return "refused " + std::to_string(done.error().column) + " " + done.error().message;
  }
  REQUIRE(out.starts_with("before" + declaration));
  out.erase(0, 6 + declaration.size());
  const std::string space = " xmlns=\"http://hl7.org/fhir\"";
  const auto at = out.find(space);
  REQUIRE(at != std::string::npos);
  return out.erase(at, space.size());
}

// The JSON of an XML text, and what was odd behind it, "(path: words)"; or "refused …".
std::string json(const std::string& text, const Elements& elements = *loaded().r4) {
  Arena arena;
  const auto resource = read_xml(text, elements, arena);
  if (!resource) {
    return "refused " + std::to_string(resource.error().line) + ":" +
           std::to_string(resource.error().column) + " " + resource.error().message;
  }
  std::string out;
  syntax::append_json(*resource->root, out);
  for (const auto& oddity : resource->oddities) {
    out += " (" + oddity.path + ": " + std::string(words_of(oddity.kind)) + ")";
  }
  return out;
}

// Of a text in FHIR's namespace: the root's start tag is written without it.
std::string json_of(std::string text, const Elements& elements = *loaded().r4) {
  const auto at = text.find_first_of(" />", 1);
  return json(text.insert(at, " xmlns=\"http://hl7.org/fhir\""), elements);
}

// Both are the same instance, either way.
void same(const std::string& as_json, const std::string& as_xml, const Elements& elements = *loaded().r4) {
  CHECK(xml(as_json, elements) == as_xml);
  CHECK(json_of(as_xml, elements) == as_json);
}

}  // namespace

TEST_CASE("a primitive and what stands beside it are one element") {
  REQUIRE(loaded().r4);
  REQUIRE(loaded().r5);
  // R4 json.html#primitive, "birthDate" (there as a fragment of a Patient).
  same(
      R"({"resourceType":"Patient","birthDate":"1970-03-30","_birthDate":{"id":"314159","extension":)"
      R"([{"url":"http://example.org/fhir/StructureDefinition/text","valueString":"Easter 1970"}]}})",
      R"(<Patient><birthDate id="314159" value="1970-03-30"><extension )"
      R"(url="http://example.org/fhir/StructureDefinition/text"><valueString value="Easter 1970"/></extension>)"
      R"(</birthDate></Patient>)");
  // The same section on repeating primitives: null fills both arrays.
  same(R"({"resourceType":"Patient","name":[{"given":["Au",null,"Nz"],"_given":[null,{"extension":)"
       R"([{"url":"http://example.org/x","valueString":"a"}]},{"id":"n"}]}]})",
       R"(<Patient><name><given value="Au"/><given><extension url="http://example.org/x"><valueString )"
       R"(value="a"/></extension></given><given id="n" value="Nz"/></name></Patient>)");
  same(R"({"resourceType":"Patient","name":[{"given":[null],"_given":[{"id":"n","extension":)"
       R"([{"url":"u","valueCode":"c"}]}]}]})",
       R"(<Patient><name><given id="n"><extension url="u"><valueCode value="c"/></extension></given></name>)"
       R"(</Patient>)");
}

TEST_CASE("numbers keep their digits, booleans their kind, arrays their place") {
  for (const char* number : {"1", "1.0", "1.00", "-0.0", "100", "1e2", "1E-22", "0.000000000000000000010",
                             "123456789012345678901234567890.5"}) {
    const std::string digits(number);
    same(R"({"resourceType":"Observation","valueQuantity":{"value":)" + digits + "}}",
         R"(<Observation><valueQuantity><value value=")" + digits + R"("/></valueQuantity></Observation>)");
  }
  same(R"({"resourceType":"Observation","valueBoolean":true})",
       R"(<Observation><valueBoolean value="true"/></Observation>)");
  same(R"({"resourceType":"Observation","valueInteger":-3})",
       R"(<Observation><valueInteger value="-3"/></Observation>)");
  same(R"({"resourceType":"Observation","valueString":"12"})",
       R"(<Observation><valueString value="12"/></Observation>)");
  same(R"({"resourceType":"Observation","category":[{"text":"a"}],"code":{"coding":[{"code":"b"}]}})",
       R"(<Observation><category><text value="a"/></category><code><coding><code value="b"/></coding></code>)"
       R"(</Observation>)");
  // integer64 of R5 is a string in JSON (R5 json.html#primitive).
  same(R"({"resourceType":"DocumentReference","content":[{"attachment":{"size":"5000000000"}}]})",
       R"(<DocumentReference><content><attachment><size value="5000000000"/></attachment></content>)"
       R"(</DocumentReference>)",
       *loaded().r5);
}

TEST_CASE("elements go out in the order of their type, attributes first") {
  CHECK(
      xml(R"({"valueString":"x","status":"final","code":{"text":"c"},"id":"1","resourceType":"Observation"})") ==
      R"(<Observation><id value="1"/><status value="final"/><code><text value="c"/></code>)"
      R"(<valueString value="x"/></Observation>)");
  same(
      R"({"resourceType":"Patient","extension":[{"url":"u","extension":[{"id":"i","url":"v","valueString":"x"}]}]})",
      R"(<Patient><extension url="u"><extension id="i" url="v"><valueString value="x"/></extension></extension>)"
      R"(</Patient>)");
}

TEST_CASE("resources inside resources") {
  same(
      R"({"resourceType":"Bundle","type":"collection","entry":[{"fullUrl":"urn:a","resource":)"
      R"({"resourceType":"Observation","contained":[{"resourceType":"Patient","id":"p","active":false},)"
      R"({"resourceType":"Device","id":"d"}],"status":"final"},"request":{"method":"PUT","url":"x"}}]})",
      R"(<Bundle><type value="collection"/><entry><fullUrl value="urn:a"/><resource><Observation><contained>)"
      R"(<Patient><id value="p"/><active value="false"/></Patient></contained><contained><Device><id value="d"/>)"
      R"(</Device></contained><status value="final"/></Observation></resource><request><method value="PUT"/>)"
      R"(<url value="x"/></request></entry></Bundle>)");
}

TEST_CASE("the narrative's div keeps its text") {
  for (
      const char* div : {
          R"(<div xmlns="http://www.w3.org/1999/xhtml"><p>a &amp; b &lt; c</p></div>)",
          R"(<div xmlns="http://www.w3.org/1999/xhtml" lang='de'><!-- x --><p class="a">&#xB0;<br/>é </p> </div>)",
          R"(<div  xmlns="http://www.w3.org/1999/xhtml"><a href="#x"><![CDATA[<]]></a></div>)",
          R"(<h:div xmlns:h="http://www.w3.org/1999/xhtml"><h:p>x</h:p></h:div>)",
      }) {
    std::string quoted;
    for (const char* c = div; *c != '\0'; ++c) quoted += *c == '"' ? "\\\"" : std::string(1, *c);
    same(R"({"resourceType":"Patient","text":{"status":"generated","div":")" + quoted + R"("}})",
         R"(<Patient><text><status value="generated"/>)" + std::string(div) + R"(</text></Patient>)");
  }
  // Declarations that stand further out come along, so that the div is whole alone.
  CHECK(
      json(R"(<f:Patient xmlns:f="http://hl7.org/fhir" xmlns="http://www.w3.org/1999/xhtml" xmlns:x="urn:x">)"
           R"(<f:text><div><p x:a="1">b</p></div></f:text></f:Patient>)") ==
      R"({"resourceType":"Patient","text":{"div":"<div xmlns=\"http://www.w3.org/1999/xhtml\" xmlns:x=\"urn:x\">)"
      R"(<p x:a=\"1\">b</p></div>"}})");
  // XML 1.0 section 2.11.
  CHECK(
      json_of(
          "<Patient><text><div xmlns='http://www.w3.org/1999/xhtml'>a\r\nb\rc\n</div></text></Patient>") ==
      R"({"resourceType":"Patient","text":{"div":"<div xmlns='http://www.w3.org/1999/xhtml'>a\nb\nc\n</div>"}})");
}

TEST_CASE("a narrative that is not one well-formed div is not written") {
  const std::string message = "refused 41 Narrative.div: the narrative is not one well-formed XHTML div";
  for (const char* div : {"text", "<p>x</p>", "<div>x</div>", "<div xmlns='http://www.w3.org/1999/xhtml'>x",
                          "<div xmlns='http://www.w3.org/1999/xhtml'><p>x</div>",
                          "<div xmlns='http://www.w3.org/1999/xhtml'/><div/>",
                          "<div xmlns='http://www.w3.org/1999/xhtml'>&nbsp;</div>",
                          "<!DOCTYPE div><div xmlns='http://www.w3.org/1999/xhtml'/>",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\"></p></div>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>x</p>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>x</b></div>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\">x</div><status value=\"extra\"/>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\">x</div></text><text><div/>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\">a & b</div>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\">\u0001</div>)",
                          R"(<div xmlns=\"http://www.w3.org/1999/xhtml\">]]></div>)"}) {
    CAPTURE(std::string(div));
    CHECK(xml(R"({"resourceType":"Patient","text":{"div":")" + std::string(div) + R"("}})") == message);
  }
}

TEST_CASE("hard text comes back the same") {
  same(R"({"resourceType":"Patient","language":"<a b=\"c\">&'\t\n\r € 😀"})",
       R"(<Patient><language value="&lt;a b=&quot;c&quot;&gt;&amp;'&#x9;&#xA;&#xD; € 😀"/></Patient>)");
}

TEST_CASE("what XML cannot carry is refused, by the element's path and without the data") {
  const auto refused = [](const std::string& members) {
    return xml(R"({"resourceType":"Observation",)" + members + "}");
  };
  CHECK(refused(R"("secret":"x")") ==
        "refused 40 Observation: a member is not in the tables of this version");
  CHECK(refused(R"("status":1)") == "refused 40 Observation.status: the value is not of the element's type");
  CHECK(refused(R"("valueQuantity":{"value":"1"})")
            .ends_with("Quantity.value: the value is not of the element's type"));
  CHECK(refused(R"("valueBoolean":"true")").ends_with("the value is not of the element's type"));
  CHECK(refused(R"("status":{})").ends_with("the value is not of the element's type"));
  CHECK(refused(R"("code":"x")").ends_with("Observation.code: is not an object"));
  CHECK(refused(R"("category":{})").ends_with("Observation.category: is not an array"));
  CHECK(refused(R"("code":[{"text":"x"}])").ends_with("Observation.code: is not an object"));
  for (const char* empty : {R"("status":"")", R"("code":{})", R"("category":[])", R"("category":[{}])",
                            R"("status":null)", R"("_status":{})", R"("_status":null)"}) {
    CAPTURE(std::string(empty));
    CHECK(refused(empty).ends_with(": the element is empty, which XML cannot carry"));
  }
  CHECK(xml(R"({"resourceType":"Patient","name":[{"given":[null]}]})").ends_with("XML cannot carry"));
  CHECK(xml(R"({"resourceType":"Patient","name":[{"given":["a",null],"_given":[null,null]}]})")
            .ends_with("XML cannot carry"));
  CHECK(refused(R"("valueString":"a","valueBoolean":true)")
            .ends_with("Observation.value[x]: stands there by two types"));
  CHECK(refused(R"("valueString":"a","_valueCode":{"id":"b"})").starts_with("refused"));
  CHECK(refused(R"("valueString":"\u0001")").ends_with("the text has a character that XML cannot hold"));
  CHECK(refused(R"("valueString":"\uFFFE")").ends_with("the text has a character that XML cannot hold"));
  CHECK(xml(R"({"id":"x"})").starts_with("refused 1 Resource: resourceType is missing"));
  CHECK(xml(R"({"resourceType":"Nothing"})").starts_with("refused 1 Resource: resourceType is missing"));
  CHECK(
      xml(R"({"resourceType":"DomainResource"})").starts_with("refused 1 Resource: resourceType is missing"));
  CHECK(xml(R"({"resourceType":"Quantity"})").starts_with("refused 1 Resource: resourceType is missing"));
  CHECK(xml(R"([1])").starts_with("refused 1 Resource: is not an object"));
  CHECK(
      refused(R"("contained":[{"resourceType":"Nothing"}])").ends_with("not in the tables of this version"));
}

TEST_CASE("what is no data is passed over") {
  CHECK(json(R"(<?xml version="1.0"?><!-- x --><Patient xmlns="http://hl7.org/fhir" )"
             R"(xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" )"
             R"(xsi:schemaLocation="http://hl7.org/fhir http://hl7.org/fhir/fhir-all.xsd">)"
             "\n  <!-- y --><?z?>\n  <id value=\"1\"></id>\n</Patient>\n") ==
        R"({"resourceType":"Patient","id":"1"})");
  CHECK(json(R"(<f:Patient xmlns:f="http://hl7.org/fhir"><f:id value="1"/></f:Patient>)") ==
        R"({"resourceType":"Patient","id":"1"})");
}

TEST_CASE("what is odd in XML is told or stays to be seen in the tree") {
  CHECK(json_of(R"(<Patient><birthDate value="2000"/><id value="1"/></Patient>)") ==
        R"({"resourceType":"Patient","id":"1","birthDate":"2000"})"
        " (Patient.id: the element stands after one that its type puts later)");
  CHECK(json_of(R"(<Patient><gender value="male"/><gender value="female"/></Patient>)") ==
        R"({"resourceType":"Patient","gender":["male","female"]})"
        " (Patient.gender: the element stands twice where it may stand once)");
  CHECK(json_of(R"(<Patient wrong="x"><id value="1" x="y">text</id>more</Patient>)") ==
        R"({"resourceType":"Patient","id":"1"})"
        " (Patient: an attribute is not of FHIR and is left out)"
        " (Patient.id: an attribute is not of FHIR and is left out)"
        " (Element: text stands between elements and is left out)"
        " (Patient: text stands between elements and is left out)");
  CHECK(json_of(R"(<Patient><id xmlns="urn:other" value="1"/></Patient>)") ==
        R"({"resourceType":"Patient","id":"1"} (Patient: the element is not of FHIR's namespace))");
  CHECK(json_of(R"(<Patient><text><div>x</div></text></Patient>)")
            .ends_with("(Narrative: the element is not of FHIR's namespace)"));
  // For strict reading of the tree:
  CHECK(json_of(
            R"(<Patient><foo value="1"/><bar a="b"><c value="d"/></bar><_birthDate value="x"/></Patient>)") ==
        R"({"resourceType":"Patient","foo":"1","bar":{"a":"b","c":"d"},"_birthDate":"x"})");
  CHECK(json_of(R"(<Observation><valueInteger value="+5"/></Observation>)") ==
        R"({"resourceType":"Observation","valueInteger":"+5"})");
  CHECK(json_of(R"(<Observation><valueBoolean value="TRUE"/></Observation>)") ==
        R"({"resourceType":"Observation","valueBoolean":"TRUE"})");
  CHECK(json_of(R"(<Observation><status/><code/></Observation>)") ==
        R"({"resourceType":"Observation","status":null,"code":{}})");
  CHECK(json_of(R"(<Observation><valueString value="a"/><valueBoolean value="true"/></Observation>)") ==
        R"({"resourceType":"Observation","valueString":"a","valueBoolean":"true"})");
}

TEST_CASE("what is no FHIR resource is refused") {
  CHECK(json("<Patient/>")
            .starts_with("refused 1:1 an element where a resource belongs is not of FHIR's namespace"));
  CHECK(json_of("<Nothing/>")
            .starts_with("refused 1:1 an element where a resource belongs is of no resource type"));
  CHECK(json_of("<DomainResource/>").starts_with("refused 1:1 "));
  CHECK(json_of("<Quantity/>").starts_with("refused 1:1 "));
  CHECK(json_of("<Patient>\n<contained><Nothing/></contained></Patient>").starts_with("refused 2:12 "));
  CHECK(
      json_of("<Patient><contained><Patient/><Patient/></contained></Patient>").starts_with("refused 1:59 "));
  CHECK(json_of("<Patient>").starts_with("refused 1:"));
  CHECK(json("<!DOCTYPE Patient><Patient/>").starts_with("refused 1:1 there is a document type"));
}

TEST_CASE("every value of the tree knows its element's place in the XML") {
  const std::string text =
      "<Observation xmlns=\"http://hl7.org/fhir\">\n  <status value=\"final\"/>\n  <category><text "
      "value=\"a\"/></category>\n"
      "</Observation>";
  Arena arena;
  const auto resource = read_xml(text, *loaded().r4, arena);
  REQUIRE(resource);
  const auto* status = resource->root->member("status");
  REQUIRE(status != nullptr);
  CHECK(status->name == loaded().names.find("status"));
  CHECK(text.substr(status->begin, status->end - status->begin) == "<status value=\"final\"/>");
  const auto* category = resource->root->member("category");
  CHECK(syntax::position(text, category->begin).line == 3);
}

TEST_CASE("one element is written by itself, with what stands beside it") {
  const auto& elements = *loaded().r4;
  const auto element = [&](std::string_view type, const std::string& object) -> std::string {
    Arena arena;
    const auto tree = syntax::read_json(object, arena, elements.names());
    REQUIRE(tree);
    const syntax::Node *value = nullptr, *beside = nullptr;
    const Member* member = nullptr;
    for (const auto* at = (*tree)->first; at != nullptr; at = at->next) {
      member = elements.shape(type)->member(at->name);
      (at->name_text.front() == '_' ? beside : value) = at;
    }
    REQUIRE(member != nullptr);
    std::string out;
    return append_element(value, beside, *member, elements, out) ? out : "refused";
  };
  CHECK(element("Observation", R"({"status":"a&b"})") == R"(<status value="a&amp;b"/>)");
  CHECK(element("Observation", R"({"code":{"text":"b","coding":[{"code":"c"}]}})") ==
        R"(<code><coding><code value="c"/></coding><text value="b"/></code>)");
  CHECK(element("Observation", R"({"_status":{"extension":[{"url":"u:a","valueCode":"c"}]}})") ==
        R"(<status><extension url="u:a"><valueCode value="c"/></extension></status>)");
  CHECK(element("Observation", R"({"status":"f","_status":{"id":"i","extension":[{"url":"u:a","valueCode":"c"}]}})") ==
        R"(<status id="i" value="f"><extension url="u:a"><valueCode value="c"/></extension></status>)");
  CHECK(element("Observation", R"({"status":true})") == "refused");
  CHECK(element("Observation", R"({"code":{}})") == "refused");
  CHECK(element("Observation", R"({"status":"\u0001"})") == "refused");
}
