#include "syntax/xml_documents.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace charpie::syntax;

namespace {

// The pieces, each as "line:column bytes" or "line:column !message", however the bytes come in.
std::vector<std::string> pieces(std::string_view text, std::size_t chunk, std::size_t longest = 1u << 20) {
  TextSource source(text);
  XmlDocumentStream stream(source, {.record_bytes = longest, .chunk_bytes = chunk});
  std::vector<std::string> found;
  JsonPiece piece;
  while (stream.next(piece)) {
    auto said = std::to_string(piece.line) + ":" + std::to_string(piece.column) + " ";
    said += piece.error ? "!" + piece.error->message : piece.bytes;
    found.push_back(said);
  }
  return found;
}

}  // namespace

TEST_CASE("documents one behind the other are cut where their tags balance") {
  const std::string text =
      "<?xml version=\"1.0\"?><a><b c=\"</a>\"/><!-- </a> --><![CDATA[</a>]]></a>\n  "
      "<d/>\n<?x?><e>\n<f></f></e>\n";
  for (const std::size_t chunk : {1u, 2u, 7u, 4096u}) {
    CAPTURE(chunk);
    const auto found = pieces(text, chunk);
    REQUIRE(found.size() == 3);
    CHECK(found[0] == "1:1 <?xml version=\"1.0\"?><a><b c=\"</a>\"/><!-- </a> --><![CDATA[</a>]]></a>");
    CHECK(found[1] == "2:3 <d/>");
    CHECK(found[2] == "3:1 <?x?><e>\n<f></f></e>");
  }
}

TEST_CASE("what is no document is said, and the rest goes on") {
  for (const std::size_t chunk : {1u, 4096u}) {
    CAPTURE(chunk);
    CHECK(pieces("", chunk).empty());
    CHECK(pieces(" \n", chunk).empty());
    const auto found = pieces("<a/>\noops <b/>", chunk);
    REQUIRE(found.size() == 3);
    CHECK(found[1] == "2:1 !text that belongs to no XML document");
    CHECK(found[2] == "2:6 <b/>");
    // A document that never ends is given as it is: the reader of XML says what is missing.
    CHECK(pieces("<a><b></b>", chunk) == std::vector<std::string>{"1:1 <a><b></b>"});
    const auto cut = pieces("<a>" + std::string(100, 'x') + "</a><b/>", chunk, 50);
    REQUIRE(cut.size() == 1);
    CHECK(cut[0] == "1:1 !the document is longer than 50 bytes");
  }
}

TEST_CASE("a document that never ends loses none of those behind it that begin a line as it does") {
  for (const std::size_t chunk : {1u, 7u, 4096u}) {
    CAPTURE(chunk);
    using Pieces = std::vector<std::string>;
    CHECK(pieces("<a>\n<b></a>\n<a/>\n<a>x</a>", chunk) ==
          Pieces{"1:1 <a>\n<b></a>\n", "3:1 <a/>", "4:1 <a>x</a>"});
    CHECK(pieces("<a c=\"1></a>\n<a c=\"2\"></a>\n<a/>\n", chunk) ==
          Pieces{"1:1 <a c=\"1></a>\n", "2:1 <a c=\"2\"></a>", "3:1 <a/>"});
    // Another name that begins so is no beginning; a declaration is one.
    CHECK(pieces("<a><b>\n<ab></ab>\n<?xml version=\"1.0\"?><c/>", chunk) ==
          Pieces{"1:1 <a><b>\n<ab></ab>\n", "3:1 <?xml version=\"1.0\"?><c/>"});
    // Each line for itself, and not each to the end: many of them take no longer than one as long.
    std::string broken;
    for (int i = 0; i < 20000; ++i) broken += "<a>\n";
    CHECK(pieces(broken + "<a/>", chunk).size() == 20001);
    const std::string many(30, '-');
    CHECK(pieces("<a><b>" + many + "\n<a>" + many + "</a>", chunk, 50) ==
          Pieces{"1:1 <a><b>" + many + "\n", "2:1 <a>" + many + "</a>"});
  }
}

TEST_CASE("bytes that are not UTF-8 are one document") {
  const std::string latin = "<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><a>\xE4</a>";
  CHECK(pieces(latin, 16) == std::vector<std::string>{"1:1 " + latin});
  const std::string utf16("\xFF\xFE<\0a\0/\0>\0", 10);
  CHECK(pieces(utf16, 3) == std::vector<std::string>{"1:1 " + utf16});
}
