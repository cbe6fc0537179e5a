#include "syntax/json.hpp"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <random>
#include <string>

#include "base/escape.hpp"
#include "base/utf8.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

// Keeps the bytes and the tree together.
struct Reading {
  std::string bytes;
  Arena arena;
  Names names;
  JsonLimits limits;

  Result<Node*> read(std::string text) {
    bytes = std::move(text);
    return read_json(bytes, arena, names, limits);
  }
};

std::string repeated(std::string_view text, std::size_t count) {
  std::string out;
  for (std::size_t i = 0; i < count; ++i) out += text;
  return out;
}

// The message of the refusal with line and column, or "" when the text is accepted.
std::string refusal(std::string text, JsonLimits limits = {}) {
  Reading reading;
  reading.limits = limits;
  const auto result = reading.read(std::move(text));
  if (result) return "";
  CHECK(result.error().kind == Error::invalid);
  CHECK_FALSE(result.error().mend.empty());
  return std::to_string(result.error().line) + ":" + std::to_string(result.error().column) + " " +
         result.error().message;
}

// Every node's range must be exactly its own text: reading the range alone gives the same value.
void check_ranges(const std::string& bytes, const Node& node) {
  REQUIRE(node.begin < node.end);
  REQUIRE(node.end <= bytes.size());
  const std::string own = bytes.substr(node.begin, node.end - node.begin);
  const auto again = nlohmann::json::parse(own, nullptr, false);
  CAPTURE(own);
  REQUIRE_FALSE(again.is_discarded());
  switch (node.kind) {
    case NodeKind::object:
      REQUIRE((again.is_object() && own.front() == '{' && own.back() == '}'));
      break;
    case NodeKind::array:
      REQUIRE((again.is_array() && own.front() == '[' && own.back() == ']'));
      break;
    case NodeKind::string:
      REQUIRE((again.is_string() && own.front() == '"' && again.get<std::string>() == node.text));
      break;
    case NodeKind::number:
      REQUIRE((again.is_number() && own == node.text));
      break;
    case NodeKind::boolean:
      REQUIRE(own == node.text);
      break;
    case NodeKind::null:
      REQUIRE(own == "null");
      break;
  }
  std::uint32_t count = 0;
  const Node* last = nullptr;
  for (const Node* child = node.first; child != nullptr; child = child->next) {
    REQUIRE(child->begin > node.begin);
    REQUIRE(child->end < node.end);
    if (last != nullptr) REQUIRE(child->begin > last->end);
    check_ranges(bytes, *child);
    ++count;
    last = child;
  }
  REQUIRE(node.count == count);
  REQUIRE(node.last == last);
}

}  // namespace

TEST_CASE("a record becomes a tree") {
  Reading reading;
  const auto id = reading.names.add("id");
  const auto size = reading.names.add("size");
  const auto result = reading.read(
      "\xEF\xBB\xBF {\"id\": \"v-1\", \"size\": {\"length\": {\"value\": 4.00, \"unit\": \"cm\"}},\r\n"
      "\t\"notes\": [\"say \\\"ah\\\"\", true, false, null], \"\": {}, \"none\": []}\n");
  REQUIRE(result);
  const Node& root = **result;
  CHECK(root.is_object());
  CHECK(root.count == 5);
  CHECK(root.begin == 4);
  CHECK(root.end == reading.bytes.size() - 1);
  REQUIRE(root.member(id) != nullptr);
  CHECK(root.member(id)->text == "v-1");
  CHECK(root.member(id)->name_text == "id");
  REQUIRE(root.member(size) != nullptr);
  const Node* length = root.member(size)->member("length");
  REQUIRE(length != nullptr);
  CHECK(length->name == 0);
  CHECK(length->member("value")->kind == NodeKind::number);
  CHECK(length->member("value")->text == "4.00");
  const Node* notes = root.member("notes");
  REQUIRE(notes->count == 4);
  CHECK(notes->first->text == "say \"ah\"");
  CHECK(notes->first->name_text.empty());
  CHECK(notes->first->next->text == "true");
  CHECK(notes->first->next->next->text == "false");
  CHECK(notes->last->kind == NodeKind::null);
  CHECK(root.member("")->is_object());
  CHECK(root.member("")->first == nullptr);
  CHECK(root.member("none")->is_array());
  check_ranges(reading.bytes, root);
  // What has no escape is not copied.
  const char* begin = reading.bytes.data();
  CHECK(root.member(id)->text.data() == begin + root.member(id)->begin + 1);
  CHECK(length->member("value")->text.data() == begin + length->member("value")->begin);
  CHECK(root.member(id)->name_text.data() == begin + 6);
}

TEST_CASE("numbers keep their digits") {
  const char* tokens[] = {"0",
                          "-0",
                          "4.00",
                          "1e2",
                          "1E+02",
                          "-1.50e-007",
                          "0.0000000000000000000000000001",
                          "12345678901234567890123456789",
                          "-12345678901234567890123456789.12345678901234567890",
                          "1e-999999999999",
                          "18446744073709551616",
                          "-9223372036854775809",
                          "1e307"};
  for (const auto* token : tokens) {
    CAPTURE(token);
    Reading reading;
    const auto alone = reading.read(token);
    REQUIRE(alone);
    CHECK((*alone)->text == token);
    CHECK((*alone)->begin == 0);
    CHECK((*alone)->end == std::string_view(token).size());
    Reading inside;
    const auto listed = inside.read("[" + std::string(token) + " ,\t" + token + "]");
    REQUIRE(listed);
    CHECK((*listed)->first->text == token);
    CHECK((*listed)->last->text == token);
    CHECK((*listed)->last->begin == std::string_view(token).size() + 4);
  }
}

TEST_CASE("strings are decoded") {
  const struct {
    const char* json;
    std::string text;
  } rows[] = {{R"("")", ""},
              {R"("\"\\\/\b\f\n\r\t")", "\"\\/\b\f\n\r\t"},
              {R"("\u0041\u00e9\u20AC")", "A\xC3\xA9\xE2\x82\xAC"},
              {R"("\ud834\udd1e")", "\xF0\x9D\x84\x9E"},  // RFC 8259 section 7: the G clef
              {R"("\uD834\uDD1E!")", "\xF0\x9D\x84\x9E!"},
              {R"("a\u0000b")", std::string("a\0b", 3)},
              {R"("\u0000")", std::string("\0", 1)},
              {R"("ends in escape\n")", "ends in escape\n"},
              {R"("\"")", "\""},
              {"\"\xC3\xA9t\xC3\xA9 and a long plain tail behind it\"",
               "\xC3\xA9t\xC3\xA9 and a long plain tail behind it"},
              {"\"a long plain head of text, then \xF0\xA3\x8E\xB4 and \\t\"",
               "a long plain head of text, then \xF0\xA3\x8E\xB4 and \t"},
              {"\"\x7F\"", "\x7F"}};
  for (const auto& row : rows) {
    CAPTURE(row.json);
    Reading reading;
    const auto result = reading.read(row.json);
    REQUIRE(result);
    CHECK((*result)->text == row.text);
    CHECK((*result)->begin == 0);
    CHECK((*result)->end == reading.bytes.size());
    // As a name too, between others.
    Reading named;
    const auto object = named.read("{" + std::string(row.json) + ":1,\"other\":2}");
    REQUIRE(object);
    CHECK((*object)->first->name_text == row.text);
    CHECK((*object)->last->name_text == "other");
  }
}

TEST_CASE("a string of any length stops at the right byte") {
  // The plain run is found sixteen bytes at a time: every length and every place of the first odd byte.
  for (std::size_t length = 0; length < 36; ++length) {
    for (std::size_t place = 0; place <= length; ++place) {
      for (const std::string odd : {"", "\\n", "\\\\", "\xC3\xA9", "\\u00e9", "\\\""}) {
        const std::string inside = std::string(place, 'a') + odd + std::string(length - place, 'b');
        Reading reading;
        const auto result = reading.read("[\"" + inside + "\",\"next\"]");
        REQUIRE(result);
        std::string again;
        append_json(**result, again);
        const auto expected = nlohmann::json::parse(reading.bytes);
        REQUIRE((*result)->first->text == expected[0].get<std::string>());
        REQUIRE((*result)->last->text == "next");
      }
    }
  }
}

TEST_CASE("structure: what RFC 8259 accepts") {
  const std::string good[] = {"null",
                              "true",
                              "false",
                              "0",
                              "\"\"",
                              "{}",
                              "[]",
                              " [ ] ",
                              "\t{\n}\r\n",
                              "[[[[]]]]",
                              "[{}]",
                              "{\"a\":{\"a\":{}}}",
                              "[1,2]",
                              "[null,1,\"1\",{}]",
                              "{\"a\":1,\"b\":1}",
                              "{\"a\":1,\"A\":2}",
                              "[\"\\u0022\"]",
                              "[0e0]",
                              "[-0.0]",
                              "{\"\":0}",
                              "{\"a\\u0000\":0,\"a\":1}",
                              "\xEF\xBB\xBF[]",
                              "[\"\xEF\xBB\xBF\"]",
                              "[\"\xEF\xBF\xBF\"]",
                              "{\"x\" : [ 1 , 2 ] , \"y\" : \"z\" }",
                              repeated("[", 64) + repeated("]", 64)};
  for (const auto& text : good) {
    CAPTURE(text);
    CHECK(refusal(text) == "");
  }
}

TEST_CASE("structure: what is refused, where, and in which words") {
  const std::string value = "a value is missing or is not JSON";
  const std::string name = "a member name in quotes is missing";
  const std::string brace = "a comma or a closing brace is missing";
  const std::string bracket = "a comma or a closing bracket is missing";
  const std::string escape = "a string has an unknown escape or a bare control character";
  const std::string open = "a string is not closed";
  const std::string encoding = "a string is not valid UTF-8";
  const std::string half = "a string has half of a surrogate pair in a \\u escape";
  const std::string hex = "a \\u escape has no four hexadecimal digits";
  const std::string more = "text follows the JSON value";
  const struct {
    std::string text;
    std::string expected;
  } rows[] = {
      {"", "1:1 there is no JSON value"},
      {" \n ", "2:2 there is no JSON value"},
      {"\xEF\xBB\xBF", "1:1 there is no JSON value"},
      {"\xEF\xBB\xBF\xEF\xBB\xBF{}", "1:1 " + value},
      // brackets
      {"[", "1:2 " + value},
      {"]", "1:1 " + value},
      {"[1", "1:3 " + bracket},
      {"[1,", "1:4 " + value},
      {"[1,]", "1:4 " + value},
      {"[,1]", "1:2 " + value},
      {"[1,,2]", "1:4 " + value},
      {"[1 2]", "1:4 " + bracket},
      {"[1}", "1:3 " + bracket},
      {"[]]", "1:3 " + more},
      {"[[]", "1:4 " + bracket},
      {"{", "1:2 " + name},
      {"}", "1:1 " + value},
      {"{\"a\"", "1:5 a colon is missing after a member name"},
      {"{\"a\":", "1:6 " + value},
      {"{\"a\":1", "1:7 " + brace},
      {"{\"a\":1,", "1:8 " + name},
      {"{\"a\":1,}", "1:8 " + name},
      {"{,}", "1:2 " + name},
      {"{\"a\" 1}", "1:6 a colon is missing after a member name"},
      {"{\"a\":1 \"b\":2}", "1:8 " + brace},
      {"{\"a\":1]", "1:7 " + brace},
      {"{\"a\"::1}", "1:6 " + value},
      {"{1:2}", "1:2 " + name},
      {"{a:1}", "1:2 " + name},
      {"{'a':1}", "1:2 " + name},
      {"{null:1}", "1:2 " + name},
      {"{\"a\"}", "1:5 a colon is missing after a member name"},
      {"{\"a\":}", "1:6 " + value},
      {"{} {}", "1:4 " + more},
      {"{}x", "1:3 " + more},
      {"{}\n// end", "2:1 " + more},
      {"1 2", "1:3 " + more},
      {"[] \n\xC3\xA9", "2:1 " + more},
      {std::string("\0[]", 3), "1:1 " + value},
      {std::string("[]\0", 3), "1:3 a NUL byte follows the JSON value"},
      {std::string("[\0]", 3), "1:2 " + value},
      // words and comments
      {"[tru]", "1:5 " + value},
      {"[True]", "1:2 " + value},
      {"[nul", "1:5 " + value},
      {"[undefined]", "1:2 " + value},
      {"[NaN]", "1:2 " + value},
      {"[nan]", "1:3 " + value},
      {"[Infinity]", "1:2 " + value},
      {"[-Infinity]", "1:3 " + value},
      {"[/*x*/1]", "1:2 " + value},
      {"[#]", "1:2 " + value},
      // numbers
      {"[01]", "1:3 " + bracket},
      {"[-01]", "1:4 " + bracket},
      {"[+1]", "1:2 " + value},
      {"[-]", "1:3 " + value},
      {"[.5]", "1:2 " + value},
      {"[-.5]", "1:3 " + value},
      {"[5.]", "1:4 digits are missing after the decimal point"},
      {"[5.e1]", "1:4 digits are missing after the decimal point"},
      {"[1e]", "1:4 digits are missing after the exponent's e"},
      {"[1e+]", "1:5 digits are missing after the exponent's e"},
      {"[1e1.5]", "1:5 " + bracket},
      {"[0x10]", "1:3 " + bracket},
      {"[1_000]", "1:3 " + bracket},
      {"[1,5.0.0]", "1:7 " + bracket},
      {"[\xEF\xBC\x91]", "1:2 " + value},
      {"[1e400]", "1:2 a number is too large"},
      {"[-1e999999999999]", "1:2 a number is too large"},
      // strings
      {"[\"", "1:3 " + open},
      {"[\"abc", "1:6 " + open},
      {"[\"abc\\", "1:6 " + escape},
      {"[\"abc\\\"]", "1:9 " + open},
      {"[\"a\nb\"]", "1:4 " + escape},
      {"[\"a\tb\"]", "1:4 " + escape},
      {std::string("[\"a\0b\"]", 7), "1:4 a string holds a NUL byte"},
      {"[\"\x1F\"]", "1:3 " + escape},
      {"[\"a\\x\"]", "1:4 " + escape},
      {"[\"\\'\"]", "1:3 " + escape},
      {"[\"\\U0041\"]", "1:3 " + escape},
      {"[\"\\u004\"]", "1:3 " + hex},
      {"[\"\\u00g0\"]", "1:3 " + hex},
      {"[\"\\u+041\"]", "1:3 " + hex},
      {"['a']", "1:2 " + value},
      {"[\xE2\x80\x9C"
       "a\xE2\x80\x9D]",
       "1:2 " + value},
      {"[\"\\ud800\"]", "1:3 " + half},
      {"[\"\\ud800\\n\"]", "1:3 " + half},
      {"[\"\\ud800\\ud800\"]", "1:3 " + half},
      {"[\"\\ud800\\u0041\"]", "1:3 " + half},
      {"[\"\\udc00\"]", "1:2 " + half},
      {"[\"ok \\udfff\\ud800\"]", "1:12 " + half},
      {"{\"\\udc00\":1}", "1:2 " + half},
      // UTF-8
      {"[\"\xC3\"]", "1:3 " + encoding},
      {"[\"\xC0\x80\"]", "1:3 " + encoding},
      {"[\"\xED\xA0\x80\"]", "1:3 " + encoding},
      {"[\"\xF4\x90\x80\x80\"]", "1:3 " + encoding},
      {"[\"\xFF\"]", "1:3 " + encoding},
      {"[\"abc\xE2\x82\"]", "1:6 " + encoding},
      {"{\"\xE9\":1}", "1:3 " + encoding},
      {"[\"\\n\xE9\"]", "1:5 " + encoding},
      {std::string("\xFF\xFE[\0]\0", 6), "1:1 " + value},
      // lines and columns count characters
      {"{\n  \"a\": 1,\n  \"b\": x\n}", "3:8 " + value},
      {"[\"\xC3\xA9\xF0\xA3\x8E\xB4\", x]", "1:8 " + value},
      {"\xEF\xBB\xBF[x]", "1:2 " + value},
      {"[1,\r\n2,\r\nx]", "3:1 " + value},
  };
  for (const auto& row : rows) {
    CAPTURE(row.text);
    CHECK(refusal(row.text) == row.expected);
  }
}

TEST_CASE("a member name stands once in an object") {
  const std::string twice = "a member name stands twice in one object";
  CHECK(refusal(R"({"a":1,"a":2})") == "1:8 " + twice);
  CHECK(refusal(R"({"a":1,"b":{"a":1},"a":2})") == "1:20 " + twice);
  CHECK(refusal("{\"a\":1,\n \"\\u0061\":2}") == "2:2 " + twice);
  CHECK(refusal(R"([{"x":{"":1,"":1}}])") == "1:13 " + twice);
  CHECK(refusal(R"({"ab":1,"ba":2,"aa":3,"bb":4})") == "");
  CHECK(refusal(R"([{"a":1},{"a":1}])") == "");
  CHECK(refusal(R"({"a":{"a":1},"b":{"a":1,"b":1}})") == "");
  // Known and unknown names alike, for every pair of places, below and above the size at which names are
  // sorted.
  for (const std::size_t count : {2u, 5u, 31u, 32u, 33u, 34u, 80u}) {
    for (std::size_t first = 0; first < count; ++first) {
      for (std::size_t second = first + 1; second < count; second += (count > 40 ? 7 : 1)) {
        for (const bool known : {false, true}) {
          Reading reading;
          std::string text = "{";
          for (std::size_t i = 0; i < count; ++i) {
            const std::string name = "member" + std::to_string(i == second ? first : i);
            if (known) reading.names.add(name);
            text += (i == 0 ? "\"" : ",\"") + name + "\":" + std::to_string(i);
          }
          const auto result = reading.read(text + "}");
          REQUIRE_FALSE(result);
          REQUIRE(result.error().message == twice);
        }
      }
    }
  }
  // A big object costs no square of its members.
  std::string big = "{";
  for (int i = 0; i < 200000; ++i) big += (i == 0 ? "\"" : ",\"") + std::to_string(i) + "\":0";
  CHECK(refusal(big + "}") == "");
  CHECK(refusal(big + ",\"77777\":0}").find(twice) != std::string::npos);
}

TEST_CASE("limits") {
  JsonLimits limits;
  limits.depth = 3;
  CHECK(refusal("[[[]]]", limits) == "");
  CHECK(refusal("[[{\"a\":[]}]]", limits) == "1:8 values are nested deeper than 3 levels");
  CHECK(refusal(repeated("[", 65)) == "1:65 values are nested deeper than 64 levels");
  CHECK(refusal(repeated("{\"a\":", 100000)) == "1:321 values are nested deeper than 64 levels");
  limits.depth = 200000;
  CHECK(refusal(repeated("[", 1000) + repeated("]", 1000), limits) == "");
  CHECK(refusal(repeated("[", 100000) + repeated("]", 100000), limits) ==
        "1:1001 values are nested deeper than 1000 levels");

  JsonLimits values;
  values.values = 4;
  CHECK(refusal("[1,[2,3]]", values).starts_with("1:7 there are more than 4 values"));
  CHECK(refusal("[1,{\"a\":2}]", values) == "");
  CHECK(refusal("[" + repeated("0,", 249998) + "0]") == "");
  CHECK(refusal("[" + repeated("\"thirty bytes and two beyond it\",", 300000) + "0]") ==
        "");  // a long text holds more
  CHECK(refusal("[" + repeated("0,", 4000000) + "0]").find("there are more than 250000 values") !=
        std::string::npos);

  JsonLimits strings;
  strings.string_bytes = 4;
  CHECK(refusal("[\"abcd\"]", strings) == "");
  CHECK(refusal("[\"abcde\"]", strings) == "1:2 a string is longer than 4 bytes");
  CHECK(refusal("[\"\\u00e9\\u00e9\"]", strings) == "");  // four bytes when decoded
  CHECK(refusal("[\"\\u00e9\\u00e9a\"]", strings) == "1:2 a string is longer than 4 bytes");
  CHECK(refusal("{\"abcde\":1}", strings) == "1:2 a string is longer than 4 bytes");
  CHECK(refusal("[\"" + std::string(1048576, 'x') + "\"]") == "");
  CHECK(refusal("[\"" + std::string(1048577, 'x') + "\"]") == "1:2 a string is longer than 1048576 bytes");

  JsonLimits document;
  document.document_bytes = 6;
  CHECK(refusal("[1, 2]", document) == "");
  CHECK(refusal("[1, 2] ", document) == "1:1 the JSON text is longer than 6 bytes");
}

TEST_CASE("an error never repeats the data") {
  Reading reading;
  const auto result = reading.read(R"({"patient":"Ada Example","patient":"Ada Example"})");
  REQUIRE_FALSE(result);
  CHECK(result.error().message.find("Ada") == std::string::npos);
  CHECK(result.error().message.find("patient") == std::string::npos);
}

TEST_CASE("verdict and content agree with nlohmann::json on seeded mutations") {
  const std::string seeds[] = {
      R"({"id":"v-1","size":{"length":{"value":4.00,"unit":"cm"}},"notes":["a","b\n","\u00e9"],"ok":true,"n":null})",
      R"([1,-0,0.5,1e2,-1.5E-3,[],{},[[]],{"a":{"b":[null,true,false]}}])",
      "{\"\xC3\xA9\":\"\xF0\xA3\x8E\xB4 \\ud834\\udd1e\",\"\":\"\\\"\\\\\\/\"} "};
  const std::string alphabet = "{}[]\",:\\ \n\t0123456789.eE+-truefalsnu\xC3\xA9\xED\xA0\x80\x01";
  std::mt19937 random(1);
  int accepted = 0;
  for (int i = 0; i < 30000; ++i) {
    std::string text = seeds[random() % std::size(seeds)];
    for (auto changes = random() % 3 + 1; changes > 0; --changes) {
      const std::size_t place = random() % text.size();
      switch (random() % 3) {
        case 0:
          text.erase(place, 1 + random() % 3);
          break;
        case 1:
          text.insert(place, 1, alphabet[random() % alphabet.size()]);
          break;
        default:
          text[place] = alphabet[random() % alphabet.size()];
      }
      if (text.empty()) text = " ";
    }
    CAPTURE(text);
    Reading reading;
    const auto result = reading.read(text);
    const auto judge = nlohmann::json::parse(text, nullptr, false);
    if (result) {
      ++accepted;
      REQUIRE_FALSE(judge.is_discarded());
      check_ranges(reading.bytes, **result);
      std::string written;
      append_json(**result, written);
      REQUIRE(nlohmann::json::parse(written) == judge);
    } else if (!judge.is_discarded()) {
      // Only these two are stricter here than RFC 8259 asks.
      const auto& message = result.error().message;
      REQUIRE((message == "a member name stands twice in one object" || message == "a number is too large"));
    }
  }
  CHECK(accepted > 2000);
  CHECK(accepted < 25000);
}

TEST_CASE("written and read again, the tree is the same") {
  Reading reading;
  const std::string text =
      R"({"a":[1.00,-0,1E+2,"\u0000\u001f\"\\",{"":null}],"é":true,"b":{},"c":[],"d":false})";
  const auto result = reading.read(text);
  REQUIRE(result);
  std::string written;
  append_json(**result, written);
  CHECK(written == text);
}

TEST_CASE("pretty printing changes white space only") {
  const auto pretty = [](std::string_view text) {
    std::string out;
    append_pretty_json(text, out);
    return out;
  };
  CHECK(
      pretty(R"({"a":[1.00,{"b":"x, {y}: \"z\" \\"}],"c":{},"d":[],"e":null})") ==
      "{\n  \"a\": [\n    1.00,\n    {\n      \"b\": \"x, {y}: \\\"z\\\" \\\\\"\n    }\n  ],\n  \"c\": {},\n"
      "  \"d\": [],\n  \"e\": null\n}");
  CHECK(pretty("[ ]") == "[]");
  CHECK(pretty(" { \"a\" : [ 1 , 2 ] } ") == "{\n  \"a\": [\n    1,\n    2\n  ]\n}");
  CHECK(pretty("4.00") == "4.00");
  CHECK(pretty(pretty(R"({"a":[1,{"b":[]}]})")) == pretty(R"({"a":[1,{"b":[]}]})"));
}

TEST_CASE("places in a text") {
  const auto place = [](std::string_view text, std::size_t offset) {
    const TextPosition found = position(text, offset);
    return std::to_string(found.line) + ":" + std::to_string(found.column);
  };
  CHECK(place("", 0) == "1:1");
  CHECK(place("ab\ncd", 3) == "2:1");
  CHECK(place("ab\ncd", 2) == "1:3");
  CHECK(place("ab\ncd", 99) == "2:3");
  CHECK(place("\xC3\xA9x", 2) == "1:2");
  CHECK(place("\xEF\xBB\xBFx", 3) == "1:1");
}
