#include "syntax/er7.hpp"

#include <doctest/doctest.h>

#include <random>
#include <string>

#include "syntax/er7_write.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

// The segments behind MSH as JSON, without the braces around them.
std::string after_header(const Er7Document& message) {
  std::string json;
  const Node* segments = message.root->member("segments");
  for (const Node* one = segments->first->next; one != nullptr; one = one->next) append_json(*one, json);
  return json;
}

const std::string header = "MSH|^~\\&|A|B|C|D|20260302||ORU^R01^ORU_R01|7|P|2.5.1";

std::string read(const std::string& segment, const Er7Reading& how = {}) {
  Arena arena;
  const Names names;
  const std::string bytes = header + "\r" + segment + "\r";
  const auto message = read_er7(bytes, arena, names, how);
  REQUIRE_MESSAGE(bool(message), (message ? "" : message.error().message));
  return after_header(*message);
}

// What a value of OBX-5 is read as.
std::string value(const std::string& raw, const std::string& of_header = header) {
  Arena arena;
  const Names names;
  const std::string bytes = of_header + "\rOBX|1|FT|||" + raw;
  const auto message = read_er7(bytes, arena, names);
  REQUIRE(bool(message));
  return std::string(message->root->member("segments")->last->member("5")->first->first->text);
}

std::string notes(const std::string& bytes) {
  Arena arena;
  const Names names;
  const auto message = read_er7(bytes, arena, names);
  REQUIRE_MESSAGE(bool(message), (message ? "" : message.error().message));
  std::string all;
  for (const auto& note : message->notes) {
    const auto place = position(message->text, note.begin);
    all += std::to_string(place.line) + ":" + std::to_string(place.column) + " " +
           std::string(words_of(note.kind)) + "\n";
  }
  return all;
}

std::string refusal(const std::string& bytes, const Er7Reading& how = {}) {
  Arena arena;
  const Names names;
  const auto message = read_er7(bytes, arena, names, how);
  if (message) return "";
  CHECK(message.error().kind == Error::invalid);
  CHECK_FALSE(message.error().mend.empty());
  return std::to_string(message.error().line) + ":" + std::to_string(message.error().column) + " " +
         message.error().message;
}

std::string written(const std::string& bytes, const Er7Reading& how = {}) {
  Arena arena;
  const Names names;
  const auto message = read_er7(bytes, arena, names, how);
  REQUIRE_MESSAGE(bool(message), (message ? "" : message.error().message));
  Er7Writing writing;
  writing.delimiters = message->delimiters;
  writing.charset = how.charset;
  std::string out;
  const auto done = write_er7(*message->root, out, writing);
  REQUIRE_MESSAGE(bool(done), (done ? "" : done.error().message));
  return out;
}

}  // namespace

TEST_CASE(
    "a message has one shape: lists of repetitions, objects of components, sub-components beside them") {
  CHECK(
      read("OBX|1|NM|39125-0^Width^LN||4.0|cm^^UCUM") ==
      R"({"segment":"OBX","1":[{"1":"1"}],"2":[{"1":"NM"}],"3":[{"1":"39125-0","2":"Width","3":"LN"}],"5":[{"1":"4.0"}],"6":[{"1":"cm","3":"UCUM"}]})");
  CHECK(
      read("PID|||1^^^A&1.2.3&ISO~2||Smith&van^Ann") ==
      R"({"segment":"PID","3":[{"1":"1","4":"A","4.2":"1.2.3","4.3":"ISO"},{"1":"2"}],"5":[{"1":"Smith","1.2":"van","2":"Ann"}]})");
  CHECK(read("PID|||\"\"^a~~b") == R"({"segment":"PID","3":[{"1":null,"2":"a"},{},{"1":"b"}]})");
  CHECK(read("ZZZ") == R"({"segment":"ZZZ"})");
}

TEST_CASE("MSH-1 and MSH-2 are fields like others") {
  Arena arena;
  Names names;
  const auto twelve = names.add("12");
  const auto message = read_er7(header, arena, names);
  REQUIRE(bool(message));
  std::string json;
  append_json(*message->root->member("segments")->first, json);
  CHECK(
      json ==
      R"({"segment":"MSH","1":[{"1":"|"}],"2":[{"1":"^~\\&"}],"3":[{"1":"A"}],"4":[{"1":"B"}],"5":[{"1":"C"}],"6":[{"1":"D"}],"7":[{"1":"20260302"}],"9":[{"1":"ORU","2":"R01","3":"ORU_R01"}],"10":[{"1":"7"}],"11":[{"1":"P"}],"12":[{"1":"2.5.1"}]})");
  CHECK(message->version == "2.5.1");
  CHECK(message->notes.empty());
  CHECK(message->root->member("segments")->first->member(twelve) != nullptr);
}

TEST_CASE("what is empty at an end says nothing, and is kept on request") {
  const std::string ends = "PID|1||A^^~B&^~|^|~|&||";
  CHECK(read(ends) == R"({"segment":"PID","1":[{"1":"1"}],"3":[{"1":"A"},{"1":"B"}]})");
  Er7Reading keep;
  keep.keep_empty_ends = true;
  CHECK(
      read(ends, keep) ==
      R"({"segment":"PID","1":[{"1":"1"}],"3":[{"1":"A","3":""},{"1":"B","1.2":"","2":""},{}],"4":[{"2":""}],"5":[{},{}],"6":[{"1.2":""}],"8":[]})");
  const std::string bytes = header + "|||\r" + ends + "\rNTE|\r";
  CHECK(written(bytes, keep) == bytes);
  CHECK(written(bytes) == header + "\rPID|1||A~B\rNTE\r");
}

TEST_CASE("escapes are decoded; formatting stays, and is told apart from text that looks like it") {
  CHECK(value(R"(a\F\b\S\c\R\d\T\e\E\f)") == R"(a|b^c~d&e\f)");
  CHECK(value(R"(\X41\\X0D0A\\XC3A9\)") == "A\r\n\xC3\xA9");
  CHECK(value(R"(one\.br\two\.sp+3\\H\loud\N\\C2842\\M2442\\Zab\)") ==
        R"(one\.br\two\.sp+3\\H\loud\N\\C2842\\M2442\\Zab\)");
  CHECK(value(R"(\E\.br\E\)") == R"(\E\.br\)");
  CHECK(value(R"(C:\E\temp\E\x)") == R"(C:\temp\x)");
  CHECK(value(R"(C:\temp\x)") == R"(C:\temp\x)");
  CHECK(value(R"(\P\)") == R"(\E\P\)");
  CHECK(value(R"(\X4\\X\\XFF\)") == R"(\X4\\X\\XFF\)");
  CHECK(value("a\\") == "a\\");
  const std::string other = "MSH/*%$@/A/B";
  Arena arena;
  const Names names;
  const std::string bytes = other + "\rOBX/1/FT///a$F$b*\\.br\\$.br$@c\r";
  const auto message = read_er7(bytes, arena, names);
  REQUIRE(bool(message));
  CHECK(
      after_header(*message) ==
      R"({"segment":"OBX","1":[{"1":"1"}],"2":[{"1":"FT"}],"5":[{"1":"a/b","2":"\\E\\.br\\\\.br\\","2.2":"c"}]})");
  CHECK(written(bytes) == bytes);
}

TEST_CASE("a sequence that is unknown, open or no text is noted with its place") {
  CHECK(notes(header + "\rNTE|1||ok\\foo\\x") ==
        "2:10 an escape sequence is unknown and was kept as it stands\n");
  CHECK(notes(header + "\rNTE|1||ok\\") ==
        "2:10 an escape character opens no sequence and was kept as it stands\n");
  CHECK(notes(header + "\r\nNTE|1||\\XFF\\") ==
        "2:8 a hexadecimal escape is no text of the message's character set and was kept as it stands\n");
  CHECK(notes("MSH|^~\\&|||||||||P|2.2\rnte|1") ==
        "2:1 a segment's name is not a letter and two letters or digits\n1:1 MSH-12 is none of the versions "
        "2.3 to 2.8.2\n");
  CHECK(notes("MSH|^~\\&#|||||||||P|2.7\rNTE|1||cut off#|a#b") ==
        "2:8 a value ends with the truncation character: its end was cut off by the sender\n");
}

TEST_CASE("the truncation character of version 2.7") {
  const std::string since = "MSH|^~\\&#|A||||||||P|2.7";
  CHECK(value(R"(a\P\b)", since) == "a#b");
  CHECK(value("cut#", since) == "cut#");
  CHECK(value(R"(whole\P\)", since) == R"(whole\P\)");
  for (const char* raw : {R"(a\P\b)", "cut#", R"(whole\P\)", R"(\E\P\E\)"}) {
    const std::string bytes = since + "\rNTE|1||" + raw + "\r";
    CHECK(written(bytes) == bytes);
  }
}

TEST_CASE("delimiters are the message's own, and refused when they clash or cannot be such") {
  CHECK(refusal("") == "1:1 the message does not begin with MSH and its delimiters");
  CHECK(refusal("PID|1") == "1:1 the message does not begin with MSH and its delimiters");
  CHECK(refusal("MSH|^~\\^|A") == "1:8 one character is two delimiters");
  CHECK(refusal("MSH|^~|&|A") == "");  // only the first two are there
  CHECK(refusal("MSH||A") == "1:5 MSH-2 holds none or more than five delimiters");
  CHECK(refusal("MSHA^~\\&A") == "1:4 MSH-1 or MSH-2 names a character that cannot delimit");
  CHECK(refusal("MSH|^~\\\"|") == "1:8 MSH-1 or MSH-2 names a character that cannot delimit");
  CHECK(refusal("MSH|^~\\&#!|") == "1:5 MSH-2 holds none or more than five delimiters");
  CHECK(read("OBX|1", {}) != "");
  Arena arena;
  const Names names;
  const auto few = read_er7("MSH|^|A\rNTE|a~b^c&d\\F\\", arena, names);
  REQUIRE(bool(few));
  CHECK(after_header(*few) == R"({"segment":"NTE","1":[{"1":"a~b","2":"c&d\\F\\"}]})");
}

TEST_CASE("character sets by their names") {
  const auto with = [](std::string_view charset, std::string_view text) {
    return header + "||||||" + std::string(charset) + "\rNTE|1||" + std::string(text) + "\r";
  };
  const auto text_of = [](const std::string& bytes, const Er7Reading& how = {}) {
    Arena arena;
    const Names names;
    const auto message = read_er7(bytes, arena, names, how);
    REQUIRE_MESSAGE(bool(message), (message ? "" : message.error().message));
    return std::string(message->root->member("segments")->last->member("3")->first->first->text);
  };
  CHECK(text_of(with("8859/1", "caf\xE9")) == "caf\xC3\xA9");
  CHECK(text_of(with("8859/1", "caf\\XE9\\")) == "caf\xC3\xA9");
  CHECK(text_of(with("8859/15~8859/1", "\xA4")) == "\xE2\x82\xAC");
  CHECK(text_of(with("UNICODE UTF-8", "caf\xC3\xA9")) == "caf\xC3\xA9");
  CHECK(text_of(with("WINDOWS-1252", "\x80")) == "\xE2\x82\xAC");
  CHECK(text_of(with("", "caf\xC3\xA9")) == "caf\xC3\xA9");
  // A set with states: each hexadecimal escape begins in the first.
  CHECK(text_of(with("ISO-2022-JP", "\\X1B24422422\\\\X41\\")) ==
        "\xE3\x81\x82"
        "A");
  Er7Reading latin;
  latin.charset = "8859/1";
  CHECK(text_of(with("", "caf\xE9"), latin) == "caf\xC3\xA9");
  CHECK(text_of(with("UNICODE UTF-8", "caf\xC3\xA9"), latin) == "caf\xC3\xA9");
  const std::string slash = "MSH|^~/&|||||||||P|2.5||||||8859/E/1\rNTE|1||caf\xE9\r";
  CHECK(written(with("^8859/1", "caf\xC3\xA9")) ==
        with("^8859/1", "caf\xC3\xA9"));  // the first component names it
  CHECK(text_of(slash) == "caf\xC3\xA9");
  CHECK(written(slash) == slash);
  CHECK(notes(with("", "caf\xC3\xA9")) ==
        "1:1 MSH-18 names no character set and the message is not ASCII; it was read as UTF-8\n");
  CHECK(refusal(with("", "caf\xE9")) == "2:1 the message has a byte that is not of its character set");
  CHECK(refusal(with("ASCII", "caf\xC3\xA9")) ==
        "2:1 the message has a byte that is not of its character set");
  CHECK(refusal(with("UNICODE UTF-8", "caf\xE9")) ==
        "2:1 the message has a byte that is not of its character set");
  CHECK(refusal(with("ISO IR87", "")) ==
        "1:1 the character set of the message is not known (MSH-18, or the option)");
  CHECK(refusal(with("UTF-16LE", "a")).starts_with("1:1 the message"));
  // National variants of ISO 646 have letters in place of some delimiters.
  for (const char* const national : {"CSA_Z243.4-1985-1", "SHIFT_JIS"}) {
    CHECK(refusal(with(national, "a")) ==
          "1:1 the delimiters are other characters in the character set that MSH-18 names");
  }
  for (const auto& bytes : {with("8859/1", "caf\xE9"), with("8859/15", "\xA4"), with("", "caf\xC3\xA9"),
                            with("GB 18030-2000", "\x81\x30\x81\x30")}) {
    Er7Reading keep;
    keep.keep_empty_ends = true;
    CHECK(written(bytes, keep) == bytes);
  }
  latin.keep_empty_ends = true;
  CHECK(written(with("", "caf\xE9"), latin) == with("", "caf\xE9"));
}

TEST_CASE("segments end with CR, LF or CRLF, blank lines and framing are passed over, places hold") {
  Arena arena;
  const Names names;
  for (const char* end : {"\r", "\n", "\r\n"}) {
    const std::string bytes =
        "\x0B" + header + end + end + "OBX|1|TX|||a|" + end + "OBX|2|TX|||b~c&d" + end + "\x1C\r";
    const auto message = read_er7(bytes, arena, names);
    REQUIRE(bool(message));
    CHECK(
        after_header(*message) ==
        R"({"segment":"OBX","1":[{"1":"1"}],"2":[{"1":"TX"}],"5":[{"1":"a"}]}{"segment":"OBX","1":[{"1":"2"}],"2":[{"1":"TX"}],"5":[{"1":"b"},{"1":"c","1.2":"d"}]})");
    const Node* last = message->root->member("segments")->last->last->last->last;
    CHECK(last->text == "d");
    CHECK(message->text.substr(last->begin, last->end - last->begin) == "d");
    const auto place = position(message->text, last->begin);
    CHECK(place.line == 4);
    CHECK(place.column == 16);
    CHECK(words_of(er7_location(message->text, last->begin)) == "OBX[2]-5[2].1.2");
    CHECK(words_of(er7_location(message->text, 0)) == "MSH[1]");
    CHECK(words_of(er7_location(message->text, last->end)) == "OBX[2]-5[2].1.2");
  }
}

TEST_CASE("ADD continues the segment before it, DSC the message") {
  CHECK(
      read("OBX|1|TX|||long \rADD|text|\rADD|more||F") ==
      R"({"segment":"OBX","1":[{"1":"1"}],"2":[{"1":"TX"}],"5":[{"1":"long text"}],"6":[{"1":"more"}],"8":[{"1":"F"}]})");
  const std::string first = header + "|||\rOBX|1|TX|||to be \rADD|\rDSC|p1|F\r";
  const std::string second = header + "||p1|\rADD|continued\rOBX|2\r";
  Arena arena;
  const Names names;
  for (const std::string between : {"", "\x1C\r\x0B"}) {
    const std::string bytes = first + between + second;
    const auto message = read_er7(bytes, arena, names);
    REQUIRE_MESSAGE(bool(message), (message ? "" : message.error().message));
    CHECK(
        after_header(*message) ==
        R"({"segment":"OBX","1":[{"1":"1"}],"2":[{"1":"TX"}],"5":[{"1":"to be continued"}]}{"segment":"OBX","1":[{"1":"2"}]})");
    CHECK(message->notes.empty());
    const Node* obx = message->root->member("segments")->first->next;
    const Node* text = obx->last->first->first;
    CHECK(message->text.substr(text->begin, 6) == "to be ");
    CHECK(message->text.substr(text->end - 9, 9) == "continued");
    CHECK(words_of(er7_location(message->text, text->begin)) == "OBX[1]-5[1].1");
  }
  CHECK(refusal(first + header + "||p2|\r") ==
        "5:1 a second message begins, and it does not continue this one");
  CHECK(refusal(header + "\r" + header + "\r") ==
        "2:1 a second message begins, and it does not continue this one");
  CHECK(refusal(first + "MSH|^~\\!|A|B|C|D|20260302||ORU^R01^ORU_R01|7|P|2.5.1||p1|\r") ==
        "5:1 the message goes on with other delimiters");
  CHECK(notes(first) ==
        "3:1 an ADD segment continues nothing and was kept\n4:1 the message says that it goes on (DSC), and "
        "what continues it does not follow\n");
  CHECK(notes(header + "\rADD|a\r") == "2:1 an ADD segment continues nothing and was kept\n");
}

TEST_CASE("what is too large is refused") {
  Er7Reading small;
  small.limits = {60, 1000, 1000};
  CHECK(refusal(header + "\rNTE|1||long", small) == "1:1 the message is longer than allowed");
  small.limits = {1000, 5, 1000};
  CHECK(refusal("MSH|^~\\&|\rNTE|1||123456", small) == "2:1 a value is longer than allowed");
  CHECK(refusal("MSH|^~\\&|\rNTE|1||12345", small) == "");
  small.limits = {1000, 100, 20};
  CHECK(refusal("MSH|^~\\&|\rNTE|1\rNTE|~~~~~~~~~~~~~~~~~~~~~~1", small) ==
        "3:1 the message has more values than allowed");
  CHECK(refusal("MSH|^~\\&|\rNTE" + std::string(9999, '|') + "a") == "");
  CHECK(refusal("MSH|^~\\&|\rNTE" + std::string(10000, '|') + "a") ==
        "2:1 a segment has more fields, or a field more components, than allowed");
  CHECK(refusal("MSH|^~\\&|\rNTE|" + std::string(10000, '&') + "a") ==
        "2:1 a component has more parts than allowed");
}

TEST_CASE("trees are written by number, whatever the order of members, and other shapes are refused") {
  Arena arena;
  const Names names;
  const auto write = [&](const std::string& segments, const Er7Writing& how = {}) {
    const std::string json =
        R"({"segments":[{"segment":"MSH","1":[{"1":"!"}],"9":[{"2":"R01","1":"ORU"}]})" + segments + "]}";
    const auto tree = read_json(json, arena, names);
    REQUIRE_MESSAGE(bool(tree), json);
    std::string out = "before ";
    const auto done = write_er7(**tree, out, how);
    if (done) return out;
    CHECK(out == "before ");
    CHECK_FALSE(done.error().mend.empty());
    return done.error().message;
  };
  const std::string msh = "before MSH|^~\\&|||||||ORU^R01\r";
  CHECK(
      write(
          R"(,{"segment":"OBX","5":[{"1":4.0},{}],"3":[{"2.2":"b","2":"a","1":true}],"6":[],"8":[{"1":null}]})") ==
      msh + "OBX|||true^a&b||4.0~|||\"\"\r");
  CHECK(write(R"(,{"segment":"NTE","1":[{"1":"\"\""},{"1":"|^~\\&\r\n\u0001\t"},{"1":"\\.br\\"}]})") ==
        msh + "NTE|\\X2222\\~\\F\\\\S\\\\R\\\\E\\\\T\\\\X0D0A01\\\t~\\.br\\\r");
  Er7Writing framed;
  framed.framed = true;
  framed.segment_end = "\r\n";
  framed.delimiters = {'/', '*', '%', '$', '@', '#'};
  CHECK(write("", framed) == "before \x0BMSH/*%$@#///////ORU*R01\r\n\x1C\r");
  Er7Writing few;
  few.delimiters = {'|', '^', '\0', '\0', '\0', '\0'};
  CHECK(write(R"(,{"segment":"NTE","1":[{"1":"a~b","2":"c&d\\"}]})", few) ==
        "before MSH|^|||||||ORU^R01\rNTE|a~b^c&d\\\r");
  CHECK(write(R"(,{"segment":"NTE","1":[{"1":"a|b"}]})", few) ==
        "segments[1].1: a value needs a delimiter that the message has not");
  CHECK(write(R"(,{"segment":"NTE","1":[{"1.2":"a"}]})", few) ==
        "segments[1].1: a value needs a delimiter that the message has not");
  CHECK(write(R"(,{"segment":"NTE","1":"a"})") == "segments[1].1: a field is no list");
  CHECK(write(R"(,{"segment":"NTE","1":["a"]})") == "segments[1].1: a repetition is no object");
  CHECK(write(R"(,{"segment":"NTE","1":[{"1":[]}]})") == "segments[1].1: a component is no value");
  for (const char* name : {"x", "0", "01", "1.1", "10000", "-1", "1.", ""}) {
    CHECK(write(R"(,{"segment":"NTE","1":[{")" + std::string(name) + R"(":"a"}]})") ==
          "segments[1].1: a member has no number for its name");
  }
  CHECK(write(R"(,{"segment":"NTE","1.2":[{"1":"a"}]})") ==
        "segments[1]: a member has no number for its name");
  CHECK(write(R"(,{"1":[]})") == "segments[1]: a segment has no name, or one that cannot be");
  CHECK(write(R"(,{"segment":"N|E"})") == "segments[1]: a segment has no name, or one that cannot be");
  CHECK(write(R"(,{"segment":"NTE\u001c"})") == "segments[1]: a segment has no name, or one that cannot be");
  CHECK(write(R"(,{"segment":"MSH"})") == "segments[1]: a second MSH");
  CHECK(write(R"(,{"segment":"NTE","1":[{"1":"\u00e9"}]})", {.charset = "ASCII"}) ==
        "a value has a character that the message's character set has not");
  CHECK(write("", {.charset = "ISO IR87"}) == "the character set that MSH-18 names is not known");
  std::string out;
  CHECK_FALSE(bool(write_er7(Node{}, out)));
}

TEST_CASE("law: a generated message comes back byte for byte") {
  std::mt19937 random(20260302);
  const auto below = [&](unsigned n) { return static_cast<unsigned>(random() % n); };
  const char* const pieces[] = {"a",         "4.0",   "\xC3\xA9", "\\F\\", "\\S\\",    "\\T\\",
                                "\\R\\",     "\\E\\", "\\.br\\",  "\\H\\", "x\\E\\y",  "\\E\\.br\\E\\",
                                "\\X0D0A\\", " ",     "\t",       "\"",    "\\X2222\\"};
  Er7Reading keep;
  keep.keep_empty_ends = true;
  for (int round = 0; round < 2000; ++round) {
    std::string bytes = header + "||||||UNICODE UTF-8\r";
    for (unsigned s = below(5); s-- > 0;) {
      bytes += below(2) == 0 ? "OBX" : "ZX1";
      for (unsigned i = below(30); i-- > 0;) {
        const unsigned kind = below(12);
        if (kind < 6) bytes += "|^~&||"[kind];
        const char before = bytes.back();
        const bool fresh = before == '|' || before == '^' || before == '~' || before == '&';
        if (kind == 6 && fresh) {
          bytes += "\"\"|";
        } else if (kind > 6 && bytes.size() > 3 && bytes[bytes.size() - 1] != 'X' &&
                   bytes[bytes.size() - 1] != '1') {
          const std::string piece = pieces[below(std::size(pieces))];
          // Two hexadecimal escapes in a row are written as one; two quotes alone are null.
          if ((piece[0] == '\\' && piece[1] == 'X' && !fresh) || piece == "\"") continue;
          bytes += piece;
          if (piece == "\\X2222\\") bytes += "|";
        }
      }
      bytes += "\r";
    }
    CHECK(written(bytes, keep) == bytes);
  }
}
