// The law of the canonical text: what was read is written so that reading it again gives the same record, and
// the text of a record that is canonical already comes back byte by byte.
#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "record/reading.hpp"
#include "syntax/json_stream.hpp"

using namespace charpie;
using tests::read;

namespace {

std::string file_text(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

}  // namespace

TEST_CASE("the hard cases are records without a blocking finding, and come back from their canonical text") {
  std::size_t files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(CHARPIE_SOURCE_DIR "/tests/cases/hard")) {
    if (entry.path().extension() != ".json") continue;
    ++files;
    CAPTURE(entry.path().filename().string());
    const std::string text = file_text(entry.path());
    syntax::TextSource source(text);
    syntax::JsonStream stream(source);
    syntax::JsonPiece piece;
    while (stream.next(piece)) {
      REQUIRE_FALSE(piece.error.has_value());
      const auto first = read(piece.bytes);
      REQUIRE(first.said() == "");
      const auto second = read(first.written());
      CHECK(second.said() == "");
      CHECK(record::compare(first.record, second.record, nullptr) == 0);
      CHECK(second.written() == first.written());
    }
  }
  CHECK(files >= 25);
}
