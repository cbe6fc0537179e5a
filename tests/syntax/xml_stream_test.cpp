// Records cut out of a stream of XML: whatever the chunks, the same pieces, each with its place.
#include "syntax/xml_stream.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "syntax/xml.hpp"
#include "syntax/xml_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

// "line:column bytes" or "line:column! message" of each piece.
std::vector<std::string> pieces(std::string_view text, XmlRecords records = {}, XmlStreamLimits limits = {}) {
  std::vector<std::string> all;
  for (const std::size_t chunk : {std::size_t{1}, std::size_t{3}, std::size_t{7}, std::size_t{256} << 10}) {
    TextSource source(text);
    limits.chunk_bytes = chunk;
    XmlStream stream(source, records, limits);
    XmlPiece piece;
    std::vector<std::string> found;
    while (stream.next(piece)) {
      found.push_back(std::to_string(piece.line) + ":" + std::to_string(piece.column));
      found.back() += piece.error ? "! " + piece.error->message : " " + piece.bytes;
      CHECK(piece.ordinal == found.size());
      if (piece.error) {
        CHECK(piece.error->line >= 1);
        CHECK_FALSE(piece.error->mend.empty());
      }
    }
    CHECK_FALSE(stream.next(piece));
    if (all.empty()) all = found;
    CHECK(all == found);
  }
  return all;
}

using List = std::vector<std::string>;

}  // namespace

TEST_CASE("children of the root are records") {
  CHECK(
      pieces(
          "<?xml version='1.0'?>\n<all>\n  <r a='>'><b/></r>\n  <!-- <r> --><r/><s>\n<r/></s>x\n</all>\n") ==
      List{"3:3 <r a='>'><b/></r>", "4:15 <r/>", "4:19 <s>\n<r/></s>"});
  CHECK(pieces("\xEF\xBB\xBF<all></all>") == List{});
  CHECK(pieces("<all/>") == List{});
  CHECK(pieces("<all><r><![CDATA[</r>]]></r></all>") == List{"1:6 <r><![CDATA[</r>]]></r>"});
}

TEST_CASE("elements of a name are records, wherever they stand") {
  const std::string text = "<all><head><x/></head><list><p:r xmlns:p='u'><r/></p:r><r/></list><r/></all>";
  CHECK(pieces(text, {"r"}) == List{"1:29 <p:r xmlns:p='u'><r/></p:r>", "1:56 <r/>", "1:67 <r/>"});
  CHECK(pieces("<r><r/></r>", {"r"}) == List{"1:1 <r><r/></r>"});
  TextSource source(text);
  XmlStream stream(source, {"r"});
  XmlPiece piece;
  while (stream.next(piece)) {
  }
  CHECK(stream.passed_over() == 4);  // all, head, x, list
}

TEST_CASE("a record is read where its prefixes hold") {
  TextSource source(
      "<all xmlns='urn:d&amp;' xmlns:p=\"urn:p\" x='1'><l xmlns:p = 'urn:q'><p:r><a/></p:r></l></all>");
  XmlStream stream(source, {"r"});
  XmlPiece piece;
  REQUIRE(stream.next(piece));
  REQUIRE_FALSE(piece.error);
  Arena arena;
  const Names names;
  const auto document = read_xml(piece.bytes, arena, names, {{}, false, piece.context});
  REQUIRE(document);
  CHECK(document->root->space == "urn:q");
  CHECK(document->root->first->space == "urn:d&");
}

TEST_CASE("other encodings are cut too") {
  std::string wide = "\xFF\xFE";
  for (const char16_t c : std::u16string_view(u"<all><r>\u20AC\U0001F600</r></all>")) {
    wide += static_cast<char>(c & 0xFF);
    wide += static_cast<char>(c >> 8);
  }
  CHECK(pieces(wide) == List{"1:6 <r>\u20AC\U0001F600</r>"});
  CHECK(pieces("<?xml version='1.0' encoding='ISO-8859-1'?><all><r>\xE9</r></all>") ==
        List{"1:49 <r>\u00E9</r>"});
  CHECK(pieces("<?xml version='1.0' encoding='UTF-7'?><all/>") ==
        List{"1:1! the declared encoding is none of UTF-8, UTF-16, ISO-8859-1"});
  CHECK(pieces("\xFE\xFF" + std::string(1, '\0') + "<" + std::string(1, '\0')).size() == 1);
  CHECK(pieces("<?xml version='1.0' encoding='ISO-8859-1'?><all>\n<r>\x80</r></all>") ==
        List{"2:1! the text declares ISO-8859-1 and has a byte between 80 and 9F"});
}

TEST_CASE("a broken record does not take its neighbours with it") {
  CHECK(pieces("<all><r><b></r><r/></all>") == List{"1:6 <r><b></r>", "1:16 <r/>"});
  CHECK(pieces("<all><r></b></r><r/></all>") == List{"1:6 <r></b></r>", "1:17 <r/>"});
  CHECK(pieces("<all><r><b></all>") == List{"1:6 <r><b>"});
  CHECK(pieces("<all><r>") == List{"1:6! the record's element is not closed where the input ends"});
  CHECK(pieces("<all><r>text") == List{"1:6! the record's element is not closed where the input ends"});
  CHECK(pieces("<all><r><b c='") == List{"1:6! the record's element is not closed where the input ends"});
}

TEST_CASE("what is broken outside of records ends the stream") {
  CHECK(pieces("") == List{"1:1! there is no XML element"});
  CHECK(pieces(" \n") == List{"2:1! there is no XML element"});
  CHECK(pieces("{}") == List{"1:3! there is text beside the root element"});
  CHECK(pieces("<all>") == List{"1:6! an element is not closed"});
  CHECK(pieces("<all><r/></other>") == List{"1:6 <r/>", "1:10! an end tag is not that of the open element"});
  CHECK(pieces("<all/>\n<all/>") == List{"2:1! there is a second root element"});
  CHECK(pieces("<all/>text<!-- -->") == List{"1:11! there is text beside the root element"});
  CHECK(pieces("<all><!-- ") == List{"1:6! the document ends inside a tag or comment"});
  CHECK(pieces("<!DOCTYPE a [<!ENTITY e 'x'>]><a/>") ==
        List{"1:1! there is a document type (DOCTYPE) or another declaration"});
  // Inside a record it is the judge that refuses it.
  CHECK(pieces("<all><r><!DOCTYPE a></r></all>") == List{"1:6 <r><!"});
}

TEST_CASE("a long record is one error, and its bytes are let go") {
  XmlStreamLimits limits;
  limits.record_bytes = 20;
  CHECK(pieces("<all><r>" + std::string(1000, 'x') + "</r><r/></all>", {}, limits) ==
        List{"1:6! the record is longer than 20 bytes", "1:1013 <r/>"});
  CHECK(pieces("<all><r>" + std::string(500, ' ') + "<b/><c></c>" + "</r>\n<r/></all>", {}, limits) ==
        List{"1:6! the record is longer than 20 bytes", "2:1 <r/>"});
  XmlStreamLimits small;
  small.xml.tag_bytes = small.xml.comment_bytes = small.xml.value_bytes = 10;
  CHECK(pieces("<all><r/><!--" + std::string(100, 'x') + "--></all>", {}, small).back() ==
        "1:10! a tag, comment or section is too long");
}

namespace {

// A document without end, as long as it is asked for.
class Endless final : public ByteSource {
 public:
  explicit Endless(std::size_t records) : left_(records) {}
  Result<std::size_t> read(char* to, std::size_t size) override {
    while (pending_.size() < size && !done_) {
      if (!begun_) pending_ += "<all xmlns='urn:d'>";
      begun_ = true;
      if (left_ == 0) pending_ += "</all>";
      done_ = left_ == 0;
      if (left_ > 0) {
        pending_ += "<visit id='" + std::to_string(left_--) + "'><size unit='cm'>3.0</size></visit>\n";
      }
    }
    const std::size_t count = std::min(size, pending_.size());
    pending_.copy(to, count);
    pending_.erase(0, count);
    return count;
  }

 private:
  std::size_t left_;
  std::string pending_;
  bool begun_ = false, done_ = false;
};

}  // namespace

TEST_CASE("a long stream takes the memory of a record") {
  Endless source(200000);  // about 11 MB
  XmlStream stream(source, {"visit"});
  XmlPiece piece;
  std::size_t count = 0, largest = 0;
  while (stream.next(piece)) {
    ++count;
    REQUIRE_FALSE(piece.error);
    largest = std::max(largest, stream.held_bytes());
  }
  CHECK(count == 200000);
  CHECK(piece.line == 200000);
  CHECK(largest < (1u << 20));
}

TEST_CASE("what is no record, or too long for one, is not kept") {
  Endless none(200000);
  XmlStream stream(none, {"nothing"});
  XmlPiece piece;
  CHECK_FALSE(stream.next(piece));
  CHECK(stream.passed_over() == 400001);
  CHECK(stream.held_bytes() < (1u << 20));

  Endless one(200000);
  XmlStreamLimits limits;
  limits.record_bytes = 1000;
  XmlStream whole(one, {"all"}, limits);
  REQUIRE(whole.next(piece));
  REQUIRE(piece.error);
  CHECK(piece.bytes.empty());
  CHECK_FALSE(whole.next(piece));
  CHECK(whole.held_bytes() < (1u << 20));
}
