#include "flow/convert.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "flow/bulk_folder.hpp"
#include "flow/reject.hpp"
#include "sample_records.hpp"
#include "syntax/json.hpp"

using namespace charpie;
using namespace charpie::flow;

namespace {

Batch converted(const std::string& text, const Conversion& conversion) {
  Batch batch;
  batch.file = "test";
  batch.pieces.push_back(piece_of(text));
  batch.count = 1;
  Converter converter(test_engine(), conversion);
  converter.work(batch);
  return batch;
}

std::size_t times(const std::string& text, const std::string& piece) {
  std::size_t count = 0;
  for (auto at = text.find(piece); at != std::string::npos; at = text.find(piece, at + 1)) ++count;
  return count;
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

const std::string before = "tests/cases/hard/amended-list-before.json";
const std::string after = "tests/cases/hard/amended-list-after.json";

}  // namespace

TEST_CASE("members that an amended record lost are withdrawn, and nothing else is") {
  auto old = OldVersions::open(std::string(CHARPIE_SOURCE_DIR) + "/" + before, test_engine(), {});
  REQUIRE(old);
  for (const std::string pack : {"transaction", "collection"}) {
    CAPTURE(pack);
    Conversion conversion;
    conversion.options.pack = pack;
    const auto plain = converted(project_file(after), conversion);
    conversion.replaces = old->get();
    const auto batch = converted(project_file(after), conversion);
    CHECK(batch.tally.written == 1);
    // Three spaces became two, and a sign of infection became "none", which has another key.
    CHECK(times(batch.out, "\"status\":\"entered-in-error\"") == 2);
    CHECK(times(batch.out, "HSC-0003#spaces.2\"") == 1);
    CHECK(times(batch.out, "HSC-0003#infectionSigns.0\"") == 1);
    CHECK(times(plain.out, "entered-in-error") == 0);
    // What stays is byte for byte what is sent without the old version.
    const auto whole = plain.out.substr(0, plain.out.size() - 3);  // without "]}" and the line end
    CHECK(batch.out.starts_with(whole));
    CHECK(times(batch.out, "\"method\":\"PUT\"") ==
          (pack == "transaction" ? times(plain.out, "\"method\":\"PUT\"") + 2 : 0));
    Arena arena;
    const auto tree = syntax::read_json(batch.out, arena, test_engine().mapping().names());
    REQUIRE(tree);
    // Every reference leads to an entry of the same Bundle.
    std::set<std::string> known;
    std::vector<std::string> referred;
    const auto walk = [&](const auto& self, const syntax::Node& node) -> void {
      if (node.name_text == "fullUrl") known.emplace(node.text);
      if (node.name_text == "reference" && node.text.starts_with("urn:uuid:"))
        referred.emplace_back(node.text);
      for (const auto* child = node.first; child != nullptr; child = child->next) self(self, *child);
    };
    walk(walk, **tree);
    for (const auto& one : referred) CHECK(known.contains(one));
  }
}

TEST_CASE("an old version of another wound is withdrawn under the visit's own id") {
  // The first version was charted on wound 3: its members have other UUIDs and the same business identifiers.
  const TemporaryFolder folder;
  const auto path =
      folder.write("old", replaced(project_file(before), R"("wound": {"id": "2")", R"("wound": {"id": "3")"));
  auto old = OldVersions::open(path, test_engine(), {});
  REQUIRE(old);
  Conversion conversion;
  conversion.replaces = old->get();
  const auto batch = converted(project_file(after), conversion);
  CHECK(times(batch.out, "\"status\":\"entered-in-error\"") == 2);
  std::set<std::string> known;
  for (auto at = batch.out.find("\"fullUrl\":\""); at != std::string::npos;
       at = batch.out.find("\"fullUrl\":\"", at + 1)) {
    CHECK(known.insert(batch.out.substr(at + 11, 45)).second);
  }
  for (auto at = batch.out.find("\"reference\":\"urn:"); at != std::string::npos;
       at = batch.out.find("\"reference\":\"urn:", at + 1)) {
    CHECK(known.contains(batch.out.substr(at + 13, 45)));
  }
}

TEST_CASE("without its old version an amended record carries a warning, a final one does not") {
  const auto warned = [](const Batch& batch) {
    return std::any_of(batch.findings.begin(), batch.findings.end(),
                       [](const record::Finding& one) { return one.id == record::FindingId::amended_alone; });
  };
  CHECK(warned(converted(project_file(after), {})));
  CHECK_FALSE(warned(converted(project_file(before), {})));
}

TEST_CASE("the last of several old versions counts") {
  const TemporaryFolder folder;
  const auto path = folder.write("old", project_file(before) + "\n" + project_file(after));
  auto old = OldVersions::open(path, test_engine(), {});
  REQUIRE(old);
  Conversion conversion;
  conversion.replaces = old->get();
  CHECK(times(converted(project_file(after), conversion).out, "entered-in-error") == 0);
}

TEST_CASE("a blocking finding holds a record back, --let lets it pass") {
  const auto broken = replaced(project_file(before), R"("value": 3.5, "unit": "cm")", R"("value": 3.5)");
  Conversion conversion;
  conversion.keep_rejects = true;
  const auto held = converted(broken, conversion);
  CHECK(held.out.empty());
  CHECK(held.tally.rejected == 1);
  CHECK(held.rejects.find("unit.missing") != std::string::npos);
  auto selection = rules::Selection::of(std::vector<std::string>{"unit.missing"}, {});
  REQUIRE(selection);
  conversion.let = *selection;
  const auto passed = converted(broken, conversion);
  CHECK(passed.tally.written == 1);
  CHECK(passed.rejects.empty());
  CHECK_FALSE(passed.out.empty());
}

TEST_CASE("a reject gives the record as it came, token by token") {
  std::string out;
  append_reject("{\"a\": 1.50,\r\n  \"b\": \"x\\ny\"}", true, {}, out);
  CHECK(out == "{\"record\":{\"a\": 1.50,    \"b\": \"x\\ny\"},\"findings\":[]}\n");
  out.clear();
  append_reject("{\"a\": \"torn", false, {}, out);
  CHECK(out == "{\"text\":\"{\\\"a\\\": \\\"torn\",\"findings\":[]}\n");
  out.clear();
  // RFC 4648, section 10: BASE64("foobar") = "Zm9vYmFy"; here with a byte that no UTF-8 holds.
  append_reject("\xFF", false, {}, out);
  CHECK(out == "{\"base64\":\"/w==\",\"findings\":[]}\n");
}

TEST_CASE("bulk files hold what the Bundles hold, shared resources once") {
  const TemporaryFolder folder;
  Conversion conversion;
  conversion.options.pack = "bulk";
  auto bulk = BulkFolder::open(folder.file("out"), 0, {});
  REQUIRE(bulk);
  Conversion single;
  single.options.pack = "collection";
  std::size_t observations = 0;
  // Two visits of one wound, as one array of the hard cases: here piece by piece.
  const auto text = project_file("samples/visits.ndjson");
  std::size_t records = 0;
  std::set<std::string> wounds;
  for (std::size_t at = 0; at < text.size();) {
    const auto end = text.find('\n', at);
    const auto line = text.substr(at, end - at);
    at = end + 1;
    CHECK((*bulk)->place(converted(line, conversion)));
    const auto bundle = converted(line, single).out;
    observations += times(bundle, "\"resource\":{\"resourceType\":\"Observation\"");
    const auto condition = bundle.find("\"resource\":{\"resourceType\":\"Condition\"");
    REQUIRE(condition != std::string::npos);
    wounds.insert(bundle.substr(bundle.rfind("urn:uuid:", condition), 45));
    ++records;
  }
  CHECK_FALSE(std::filesystem::exists(folder.file("out")));
  CHECK((*bulk)->finish(records, "digest"));
  CHECK(folder.entries() == 1);
  CHECK(times(folder.read("out/Observation.ndjson"), "\n") == observations);
  CHECK(times(folder.read("out/Condition.ndjson"), "\n") == wounds.size());
  CHECK(wounds.size() == 8);  // samples/README.md
  CHECK(folder.read("out/manifest.json").find("\"records\": 33") != std::string::npos);
}

TEST_CASE("a bulk folder that is not finished leaves nothing, and does not take another's place") {
  const TemporaryFolder folder;
  {
    auto bulk = BulkFolder::open(folder.file("out"), 0, {});
    REQUIRE(bulk);
  }
  CHECK(folder.entries() == 0);
  std::filesystem::create_directory(folder.file("full"));
  folder.write("full/x", "x");
  const auto refused = BulkFolder::open(folder.file("full"), 0, {});
  REQUIRE_FALSE(refused);
  CHECK(refused.error().kind == Error::usage);
}

TEST_CASE("SHA-256 of the published examples") {
  // NIST, FIPS 180-4 example values: the messages "abc" and "".
  Sha256 digest;
  digest.update("a");
  digest.update("bc");
  CHECK(digest.hex() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(digest.hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}
