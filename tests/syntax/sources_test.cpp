// The files of tests/cases/sources, which templates of sites are written against, are read as they should be.
#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>
#include <sstream>
#include <string>

#include "base/tables.hpp"
#include "syntax/csv_groups.hpp"
#include "syntax/er7_groups.hpp"
#include "syntax/er7_stream.hpp"
#include "syntax/er7_write.hpp"
#include "syntax/json_write.hpp"
#include "syntax/xml.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

std::string file(const std::string& name) {
  std::ifstream in(std::string(CHARPIE_SOURCE_DIR "/tests/cases/sources/") + name, std::ios::binary);
  std::stringstream bytes;
  bytes << in.rdbuf();
  REQUIRE_FALSE(bytes.str().empty());
  return bytes.str();
}

}  // namespace

TEST_CASE("the sample message is read, grouped and written again") {
  const std::string bytes = file("oru-r01.hl7");
  TextSource source(bytes);
  Er7Stream stream(source);
  JsonPiece piece;
  REQUIRE(stream.next(piece));
  REQUIRE_FALSE(piece.error);
  Arena arena;
  const Names names;
  auto message = read_er7(piece.bytes, arena, names);
  REQUIRE(bool(message));
  // Some of its values ask for deletion.
  CHECK(std::all_of(message->notes.begin(), message->notes.end(),
                    [](const Er7Note& note) { return note.kind == Er7Oddity::deletion; }));
  std::string out;
  REQUIRE(bool(write_er7(*message->root, out)));
  CHECK(out == bytes);
  const Tables tables(embedded_tables());
  const auto structures = Er7Structures::load(*tables.find("sites/er7-groups.csv"), "er7-groups.csv");
  REQUIRE(bool(structures));
  REQUIRE(structures->group(*message->root, arena, names));
  const Node* order = message->root->member("patients")->first->member("orders")->first;
  CHECK(order->member("observations")->count == 5);
  CHECK(order->member("others") == nullptr);
  CHECK_FALSE(stream.next(piece));
}

TEST_CASE("the sample tables are gathered by visit") {
  const std::string texts[] = {file("visits.csv"), file("findings.csv"), file("dressings.csv")};
  TextSource bytes[] = {TextSource(texts[0]), TextSource(texts[1]), TextSource(texts[2])};
  const char* const names[] = {"visits", "findings", "dressings"};
  std::vector<CsvSource> sources(3);
  for (std::size_t i = 0; i < 3; ++i) {
    sources[i].name = names[i];
    sources[i].bytes = &bytes[i];
    sources[i].key = {"visit"};
  }
  auto groups = CsvGroups::open(std::move(sources));
  REQUIRE(bool(groups));
  JsonPiece piece;
  std::string rows;
  while ((*groups)->next(piece)) {
    REQUIRE_FALSE(piece.error);
    rows += std::to_string(piece.parts.size()) + " ";
  }
  CHECK(rows == "7 2 ");
}

TEST_CASE("the sample document is XML") {
  const std::string bytes = file("wound.ccda.xml");
  Arena arena;
  const auto document = read_xml(bytes, arena, Names());
  REQUIRE(bool(document));
  CHECK(document->root->is("urn:hl7-org:v3", "ClinicalDocument"));
}
