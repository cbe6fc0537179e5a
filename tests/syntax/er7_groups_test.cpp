#include "syntax/er7_groups.hpp"

#include <doctest/doctest.h>

#include <string>

#include "base/tables.hpp"
#include "syntax/er7_acknowledge.hpp"
#include "syntax/er7_write.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"

using namespace charpie;
using namespace charpie::syntax;

namespace {

const std::string header = "MSH|^~\\&|A|B|C|D|20260302||ORU^R01^ORU_R01|7|P|2.5.1\r";

Er7Structures structures() {
  const Tables tables(embedded_tables());
  auto loaded = Er7Structures::load(*tables.find("sites/er7-groups.csv"), "sites/er7-groups.csv");
  REQUIRE_MESSAGE(bool(loaded), (loaded ? "" : loaded.error().message));
  return std::move(*loaded);
}

// Without the header. Checks that it comes back flat as it was, unless told otherwise.
std::string grouped(const std::string& segments, const std::string& back = {}) {
  Arena arena;
  const Names names;
  const std::string bytes = header + segments;
  const auto message = read_er7(bytes, arena, names);
  REQUIRE(bool(message));
  REQUIRE(structures().group(*message->root, arena, names));
  std::string json;
  append_json(*message->root, json);
  REQUIRE(bool(flatten_er7(*message->root, arena, names)));
  std::string out;
  REQUIRE(bool(write_er7(*message->root, out)));
  CHECK(out == header + (back.empty() ? segments : back));
  REQUIRE(bool(flatten_er7(*message->root, arena, names)));
  const auto end = json.find("\"12\"");
  REQUIRE(end != std::string::npos);
  json.erase(0, json.find('}', json.find("]", end)) + 1);
  return json.starts_with(",") ? json.substr(1) : json;
}

std::string refusal(const std::string& table) {
  const auto loaded = Er7Structures::load(table, "groups.csv");
  return loaded ? "" : std::to_string(loaded.error().line) + " " + loaded.error().message;
}

std::string acknowledged(const std::string& bytes, const std::vector<Er7Complaint>& complaints,
                         const Er7Acknowledging& how) {
  Arena arena;
  const Names names;
  const auto message = read_er7(bytes, arena, names);
  std::string out;
  REQUIRE(bool(write_er7(*acknowledge_er7(message ? message->root : nullptr, complaints, how, arena, names),
                         out, {.segment_end = "\n"})));
  return out;
}

}  // namespace

TEST_CASE("observations nest below their order, orders below their patient") {
  CHECK(
      grouped("PID|1\rPV1|1\rORC|RE\rOBR|1\rNTE|1\rOBX|1\rNTE|2\rNTE|3\rOBX|2\rOBR|2\rOBX|3\rSPM|1\rOBX|"
              "4\rPID|2\rOBR|3\r") ==
      R"("patients":[{"PID":{"1":[{"1":"1"}]},"PV1":{"1":[{"1":"1"}]},"orders":[)"
      R"({"ORC":{"1":[{"1":"RE"}]},"OBR":{"1":[{"1":"1"}]},"NTE":[{"1":[{"1":"1"}]}],"observations":[)"
      R"({"OBX":{"1":[{"1":"1"}]},"NTE":[{"1":[{"1":"2"}]},{"1":[{"1":"3"}]}]},{"OBX":{"1":[{"1":"2"}]}}]},)"
      R"({"OBR":{"1":[{"1":"2"}]},"observations":[{"OBX":{"1":[{"1":"3"}]}}],"specimens":[{"SPM":{"1":[{"1":"1"}]},"OBX":[{"1":[{"1":"4"}]}]}]}]},)"
      R"({"PID":{"1":[{"1":"2"}]},"orders":[{"OBR":{"1":[{"1":"3"}]}}]}]})");
}

TEST_CASE(
    "segments without a place stay in the innermost group, and groups open without their first segment") {
  CHECK(
      grouped("PID\rZPI|1\rOBR\rOBX\rZBX|1\rZBX|2\rFT1\rNTE|9\r") ==
      R"("patients":[{"PID":{},"others":[{"segment":"ZPI","1":[{"1":"1"}]}],"orders":[{"OBR":{},"observations":[{"OBX":{},)"
      R"("others":[{"segment":"ZBX","1":[{"1":"1"}]},{"segment":"ZBX","1":[{"1":"2"}]}]}],"FT1":[{}],"others":[{"segment":"NTE","1":[{"1":"9"}]}]}]}]})");
  CHECK(grouped("OBX|1\r") == R"("patients":[{"orders":[{"observations":[{"OBX":{"1":[{"1":"1"}]}}]}]}]})");
  CHECK(grouped("PV1\r") == R"("others":[{"segment":"PV1"}]})");
  CHECK(
      grouped("PID|1\rPV1|1\rPV1|2\r") ==
      R"("patients":[{"PID":{"1":[{"1":"1"}]},"PV1":{"1":[{"1":"1"}]},"others":[{"segment":"PV1","1":[{"1":"2"}]}]}]})");
  CHECK(grouped("OBX|1\rZBX\rNTE|1\rZBX\r", "OBX|1\rZBX\rZBX\rNTE|1\r")
            .find(R"("others":[{"segment":"ZBX"},{"segment":"ZBX"}],"NTE")") != std::string::npos);
}

TEST_CASE("a structure is found by MSH-9, and none changes nothing") {
  Arena arena;
  const Names names;
  const auto group = [&](const std::string& type) {
    const std::string bytes = "MSH|^~\\&|||||||" + type + "\rPID\r";
    auto message = read_er7(bytes, arena, names);
    REQUIRE(bool(message));
    const bool done = structures().group(*message->root, arena, names);
    CHECK(done == (message->root->member("segments") == nullptr));
    return done;
  };
  CHECK(group("ORU^R01^ORU_R01"));
  CHECK(group("ORU^R01"));
  CHECK_FALSE(group("ADT^A01^ADT_A01"));
  CHECK_FALSE(group(""));
  CHECK_FALSE(group("ORU^R01^X"));
}

TEST_CASE("a table of structures that says too little is refused") {
  const std::string columns = "structure,group,segment,repeats,opens\n";
  CHECK(refusal(columns) == "");
  CHECK(refusal("structure,group,segment,repeats\n") == "1 the table has no column 'opens'");
  CHECK(refusal(columns + "A,,PIDX,one,\n") == "2 the row names no structure or no segment");
  CHECK(refusal(columns + ",,PID,one,\n") == "2 the row names no structure or no segment");
  CHECK(refusal(columns + "A,,PID,few,\n") == "2 'repeats' is neither one nor many");
  CHECK(refusal(columns + "A,,PID,one,no\n") == "2 'opens' is neither yes nor empty");
  CHECK(refusal(columns + "A,,PID,one,\nA,x,PID,one,\nA,,PID,one,\n") ==
        "4 the segment stands in its group twice");
}

TEST_CASE("trees that are no grouped message are not laid flat") {
  Arena arena;
  const Names names;
  for (const char* json : {"[]", R"({"PID":1})", R"({"orders":[1]})", R"({"orders":{"OBR":{}}})"}) {
    const auto tree = read_json(json, arena, names);
    REQUIRE(bool(tree));
    CHECK_FALSE(bool(flatten_er7(**tree, arena, names)));
  }
}

TEST_CASE("an answer goes back to the sender and says what is wrong where") {
  const std::string message =
      "MSH|^~\\&|A^1.2^ISO|B|C|D|20260302||ORU^R01^ORU_R01|7|P|2.5.1||||||8859/1\rOBX|1\r";
  CHECK(acknowledged(message, {}, {.time = "20260302103000+0000"}) ==
        "MSH|^~\\&|C|D|A^1.2^ISO|B|20260302103000+0000||ACK^R01^ACK|7|P|2.5.1||||||8859/1\nMSA|AA|7\n");
  std::vector<Er7Complaint> complaints(2);
  complaints[0] = {Er7Severity::warning, "103", "odd | unit", "", {"OBX", 2, 6, 1, 1, 0}};
  complaints[1] = {Er7Severity::information, "0", "", "noted", {}};
  CHECK(acknowledged(message, complaints, {.control_id = "x1"}) ==
        "MSH|^~\\&|C|D|A^1.2^ISO|B|||ACK^R01^ACK|x1|P|2.5.1||||||8859/1\nMSA|AA|7\n"
        "ERR||OBX^2^6^1^1|103^Table value not found^HL70357|W||||odd \\F\\ unit\nERR|||0^Message "
        "accepted^HL70357|I|||noted\n");
  complaints[0].severity = Er7Severity::error;
  CHECK(acknowledged("MSH|^~\\&|A|B|C|D|||ORU^R01|7|P|2.4\r", complaints, {}) ==
        "MSH|^~\\&|C|D|A|B|||ACK^R01|7|P|2.4\nMSA|AE|7|odd \\F\\ unit\nERR|OBX^2^6^103&Table value not "
        "found&HL70357\n");
  complaints.resize(1);
  complaints[0] = {Er7Severity::error, "100", "no MSH", "", {}};
  CHECK(acknowledged("PID|1", complaints, {.time = "20260302", .control_id = "1", .rejected = true}) ==
        "MSH|^~\\&|||||20260302||ACK|1\nMSA|AR\nERR|||100^Segment sequence error^HL70357|E||||no MSH\n");
}
