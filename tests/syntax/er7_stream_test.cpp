#include "syntax/er7_stream.hpp"

#include <doctest/doctest.h>

#include <string>

#include "syntax/er7.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

std::string shown(std::string_view bytes) {
  std::string text;
  for (const char c : bytes)
    text += c == '\r' ? "/" : c == '\n' ? "," : c == '\x0B' ? "<" : c == '\x1C' ? ">" : std::string(1, c);
  return text;
}

// Pieces one a line, the same for any size of chunk.
std::string cut(const std::string& bytes, std::size_t longest = 1000) {
  std::string first;
  for (const std::size_t chunk : {std::size_t{1}, std::size_t{7}, std::size_t{4096}}) {
    TextSource source(bytes);
    Er7Stream stream(source, {longest, chunk});
    JsonPiece piece;
    std::string all;
    std::uint64_t ordinal = 0;
    while (stream.next(piece)) {
      CHECK(piece.ordinal == ++ordinal);
      all += std::to_string(piece.line) + ":" + std::to_string(piece.column) + " " + shown(piece.bytes);
      if (piece.error) {
        CHECK(piece.error->line == piece.line);
        CHECK_FALSE(piece.error->mend.empty());
        all += " " + piece.error->message;
      } else {
        CHECK(bytes.substr(piece.offset, piece.bytes.size()) == piece.bytes);
        Arena arena;
        const Names names;
        CHECK(bool(read_er7(piece.bytes, arena, names)));
      }
      all += "\n";
    }
    CHECK_FALSE(stream.next(piece));
    if (chunk == 1) first = all;
    CHECK(all == first);
  }
  return first;
}

const std::string a = "MSH|^~\\&|A\rOBX|1\r";
const std::string b = "MSH!*%$@!B\nOBX!2\n";
const std::string c = "MSH|^~\\&|C\r\n\r\nOBX|3\r\n";

}  // namespace

TEST_CASE("messages follow each other, with any line end, with framing or without") {
  CHECK(cut("") == "");
  CHECK(cut(a + b + c) == "1:1 MSH|^~\\&|A/OBX|1/\n3:1 MSH!*%$@!B,OBX!2,\n5:1 MSH|^~\\&|C/,/,OBX|3/,\n");
  CHECK(cut("\x0B" + a + "\x1C\r\x0B" + b + "\x1C\r") == "1:2 MSH|^~\\&|A/OBX|1/\n4:2 MSH!*%$@!B,OBX!2,\n");
  CHECK(cut("\x0BMSH|^~\\&|A\rOBX|1\x1C\r\r\n\x0B" + a + "\x1C") ==
        "1:2 MSH|^~\\&|A/OBX|1\n4:2 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("\xEF\xBB\xBF" + a) == "1:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("\n\nMSH|^~\\&|A") == "3:1 MSH|^~\\&|A\n");
}

TEST_CASE("lines of no message are one broken piece, and the next message is read") {
  CHECK(cut("junk\nmore\n" + a) ==
        "1:1 junk,more, these lines belong to no message\n3:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("\x0B" + a + "\x1C\rOBX|2\r" + a) ==
        "1:2 MSH|^~\\&|A/OBX|1/\n4:1 OBX|2/ these lines belong to no message\n5:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("\x0B" + a + "\x1COBX|2\r") ==
        "1:2 MSH|^~\\&|A/OBX|1/\n3:2 OBX|2/ these lines belong to no message\n");
  CHECK(cut("MSHA\r" + a) == "1:1 MSHA/ these lines belong to no message\n2:1 MSH|^~\\&|A/OBX|1/\n");
}

TEST_CASE("batches: their counts are compared, their headers kept") {
  const std::string open = "FHS|^~\\&|f\rBHS|^~\\&|b\r";
  CHECK(cut(open + a + b + "BTS|2\rFTS|1\r") == "3:1 MSH|^~\\&|A/OBX|1/\n5:1 MSH!*%$@!B,OBX!2,\n");
  CHECK(
      cut(open + a + "BTS|2|x\rFTS|3\r") ==
      "3:1 MSH|^~\\&|A/OBX|1/\n5:1 BTS|2|x/ the batch says another number of messages (BTS-1); there are 1\n"
      "6:1 FTS|3/ the file says another number of batches (FTS-1); there are 1\n");
  CHECK(cut(open + a + "BTS\rBHS|^~\\&|b\r" + a + a + "BTS|2\rFTS|2\r") ==
        "3:1 MSH|^~\\&|A/OBX|1/\n7:1 MSH|^~\\&|A/OBX|1/\n9:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut(open + "BTS|0\rFTS|x\r") ==
        "4:1 FTS|x/ the file says another number of batches (FTS-1); there are 1\n");
  CHECK(cut("FHS|^~\\&\r" + a + "FTS|1\r") == "2:1 MSH|^~\\&|A/OBX|1/\n");
  const std::string bytes = open + a;
  TextSource source(bytes);
  Er7Stream stream(source);
  JsonPiece piece;
  REQUIRE(stream.next(piece));
  CHECK(stream.file_header() == "FHS|^~\\&|f");
  CHECK(stream.batch_header() == "BHS|^~\\&|b");
}

TEST_CASE("messages that continue one another are one piece") {
  const std::string first = "MSH|^~\\&|A||||||||||||\rOBX|1|TX|||be\rADD|\rDSC|p7|F\r";
  const std::string second = "MSH|^~\\&|A|||||||||||p7|\rADD|gin\r";
  CHECK(cut(first + second + a) ==
        "1:1 MSH|^~\\&|A||||||||||||/OBX|1|TX|||be/ADD|/DSC|p7|F/MSH|^~\\&|A|||||||||||p7|/ADD|gin/\n7:1 "
        "MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("\x0B" + first + "\x1C\r\x0B" + second + "\x1C\r") ==
        "1:2 MSH|^~\\&|A||||||||||||/OBX|1|TX|||be/ADD|/DSC|p7|F/>/<MSH|^~\\&|A|||||||||||p7|/ADD|gin/\n");
  CHECK(cut(first + a) ==
        "1:1 MSH|^~\\&|A||||||||||||/OBX|1|TX|||be/ADD|/DSC|p7|F/\n5:1 MSH|^~\\&|A/OBX|1/\n");
}

TEST_CASE("what is too long is let go, and the next message is read") {
  const std::string longer = "MSH|^~\\&|LONGER\rOBX|123456789\rOBX|2\r";
  CHECK(cut(longer + a, 20) == "1:1  the message is longer than allowed\n4:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("\x0B" + longer + "\x1C\r" + a, 20) ==
        "1:2  the message is longer than allowed\n5:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("MSH|^~\\&|" + std::string(100, 'x') + "\rOBX\r" + a, 20) ==
        "1:1  the message is longer than allowed\n3:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut(std::string(100, 'x') + "\r\n" + a, 20) ==
        "1:1  these lines belong to no message\n2:1 MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("BTS|7" + std::string(100, 'x') + "\r" + a, 20) ==
        "1:1 BTS|7xxxxxxxxxxxxxxx the batch says another number of messages (BTS-1); there are 0\n2:1 "
        "MSH|^~\\&|A/OBX|1/\n");
  CHECK(cut("x23456789\nx23456789\nx23456789\n" + a, 20) ==
        "1:1 x23456789,x23456789, these lines belong to no message\n3:1 x23456789, these lines belong to no "
        "message\n4:1 MSH|^~\\&|A/OBX|1/\n");
}

TEST_CASE("a source of messages that cannot be read is told last") {
  struct Failing final : ByteSource {
    int reads = 0;
    Result<std::size_t> read(char* to, std::size_t size) override {
      if (reads++ > 0) return Error{Error::unreadable, "gone"};
      return a.copy(to, size);
    }
  } source;
  Er7Stream stream(source);
  JsonPiece piece;
  REQUIRE(stream.next(piece));
  CHECK(piece.bytes == a);
  REQUIRE(stream.next(piece));
  REQUIRE(piece.error);
  CHECK(piece.error->kind == Error::unreadable);
  CHECK_FALSE(stream.next(piece));
}
