#include "flow/record_keys.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <initializer_list>
#include <string>
#include <utility>

#include "flow/convert.hpp"
#include "sample_records.hpp"

using namespace charpie;
using namespace charpie::flow;
using Met = RecordKeys::Met;
using record::FindingId;

namespace {

// The size of a set that has not grown yet: keys that differ by it want the same place.
constexpr std::uint64_t first_size = 1536;

std::string visit(const std::string& id, const std::string& wound, const std::string& source = "urn:x:chart",
                  const std::string& patient = "P1", const std::string& status = "final") {
  return R"({"format":"wound-visit/1","id":")" + id + R"(","status":")" + status +
         R"(","source":{"system":")" + source + R"("},"patient":{"id":")" + patient +
         R"(","system":"urn:x:patients"},"wound":{"id":")" + wound +
         R"(","system":"urn:x:wounds"},"performed":{"kind":"both","outcome":"completed","start":"2026-03-02T13:30+01:00"}})";
}

Batch batch_of(std::initializer_list<std::string> texts) {
  Batch batch;
  batch.file = "test";
  for (const auto& text : texts) {
    batch.pieces.push_back(piece_of(text));
    batch.pieces.back().line = ++batch.count;
  }
  return batch;
}

// As the ordered stage does it.
void pass(Batch& batch, RecordKeys& keys, const Conversion& conversion) {
  Converter converter(test_engine(), conversion);
  converter.work(batch);
  if (!keys.review(batch)) return;
  batch.clear_work();
  converter.work(batch);
}

std::size_t times(const Batch& batch, FindingId id) {
  std::size_t count = 0;
  for (const auto& one : batch.findings) count += one.id == id ? 1 : 0;
  return count;
}

const Conversion& to_fhir() {
  static const Conversion conversion = [] {
    Conversion made;
    made.keep_rejects = true;
    return made;
  }();
  return conversion;
}

}  // namespace

TEST_CASE("a key is kept with its first wound") {
  RecordKeys keys;
  CHECK(keys.meet(5, 50) == Met::first);
  CHECK(keys.meet(5, 50) == Met::again);
  CHECK(keys.meet(5, 51) == Met::elsewhere);
  CHECK(keys.meet(5, 51) == Met::elsewhere);
  CHECK(keys.meet(5, 50) == Met::again);
  CHECK(keys.size() == 1);
}

TEST_CASE("keys that want the same place are told apart, at the end of the table too") {
  RecordKeys keys;
  for (const std::uint64_t place : {std::uint64_t{7}, first_size - 1}) {
    for (std::uint64_t i = 0; i < 4; ++i) CHECK(keys.meet(place + i * first_size, i) == Met::first);
    for (std::uint64_t i = 0; i < 4; ++i) {
      CHECK(keys.meet(place + i * first_size, i) == Met::again);
      CHECK(keys.meet(place + i * first_size, i + 1) == Met::elsewhere);
    }
  }
  CHECK(keys.meet(8 + first_size, 0) == Met::first);  // pushed on by those of place 7
  CHECK(keys.meet(8 + first_size, 0) == Met::again);
}

TEST_CASE("a set that grows keeps what it knows") {
  RecordKeys keys;
  constexpr std::uint64_t many = 40'000, step = 0x9E3779B97F4A7C15;
  std::size_t wrong = 0;
  for (std::uint64_t i = 1; i <= many; ++i) wrong += keys.meet(i * step, i) == Met::first ? 0 : 1;
  for (std::uint64_t i = 1; i <= many; ++i) {
    wrong += keys.meet(i * step, i) == Met::again && keys.meet(i * step, i + 1) == Met::elsewhere ? 0 : 1;
  }
  CHECK(wrong == 0);
  CHECK(keys.size() == many);
}

TEST_CASE("past the bound no key is kept, and those that were are still compared") {
  RecordKeys keys(3);
  CHECK(keys.meet(1, 1) == Met::first);
  CHECK(keys.meet(2, 1) == Met::first);
  CHECK(keys.meet(3, 1) == Met::last);
  CHECK(keys.meet(4, 1) == Met::not_kept);
  CHECK(keys.meet(4, 2) == Met::not_kept);
  CHECK(keys.meet(2, 2) == Met::elsewhere);
  CHECK(keys.meet(3, 1) == Met::again);
  CHECK(keys.size() == 3);
  CHECK(RecordKeys(0).meet(1, 1) == Met::not_kept);
}

TEST_CASE("the bound is reached within 24 MiB") {
  RecordKeys keys;
  constexpr std::uint64_t step = 0x9E3779B97F4A7C15;
  for (std::uint64_t i = 1; i < RecordKeys::most_keys; ++i) keys.meet(i * step, i);
  CHECK(keys.meet(RecordKeys::most_keys * step, 1) == Met::last);
  CHECK(keys.meet((RecordKeys::most_keys + 1) * step, 1) == Met::not_kept);
  CHECK(keys.bytes() == std::size_t{24} << 20);
}

TEST_CASE("what was listed can be taken up by another run") {
  RecordKeys keys, later;
  keys.meet(1, 1);
  keys.list_new();
  keys.meet(2, 20);
  keys.meet(2, 21);
  keys.meet(3, 30);
  const auto listed = keys.take_new();
  CHECK(listed == std::vector<std::uint64_t>{2, 20, 3, 30});
  CHECK(keys.take_new().empty());
  later.list_new();
  later.restore(listed);
  CHECK(later.take_new().empty());
  CHECK(later.meet(2, 21) == Met::elsewhere);
  CHECK(later.meet(3, 30) == Met::again);
  CHECK(later.take_new().empty());
}

TEST_CASE("a record whose key stands for another wound or patient is held back, the first goes out") {
  for (const auto& other : {visit("K1", "2"), visit("K1", "1", "urn:x:chart", "P2"),
                            visit("K1", "2", "urn:x:chart", "P1", "amended")}) {
    RecordKeys keys;
    auto batch = batch_of({visit("K1", "1"), other, visit("K2", "2")});
    pass(batch, keys, to_fhir());
    CHECK(batch.tally.records == 3);
    CHECK(batch.tally.written == 2);
    CHECK(batch.tally.rejected == 1);
    CHECK(std::count(batch.out.begin(), batch.out.end(), '\n') == 2);
    CHECK(std::count(batch.rejects.begin(), batch.rejects.end(), '\n') == 1);
    CHECK(batch.rejects.starts_with(R"({"record":)" + other));
    REQUIRE(times(batch, FindingId::key_of_another_wound) == 1);
    for (const auto& one : batch.findings) {
      if (one.id != FindingId::key_of_another_wound) continue;
      CHECK(one.blocks);
      CHECK(one.line == 2);
      CHECK(one.record_key == "K1");
      CHECK(one.path == "id");
    }
    // What was held back has no claim on the key, in later batches neither.
    auto next = batch_of({other, visit("K1", "1")});
    pass(next, keys, to_fhir());
    CHECK(next.tally.rejected == 1);
    CHECK(next.rejects.starts_with(R"({"record":)" + other));
  }
}

TEST_CASE("the same key is no fault for the same wound, nor in another source") {
  RecordKeys keys;
  auto batch = batch_of({visit("K1", "1"), visit("K1", "1", "urn:x:chart", "P1", "amended"), visit("K1", "1"),
                         visit("K1", "2", "urn:y:chart"), visit("K", "11"), visit("K1", "1")});
  pass(batch, keys, to_fhir());
  CHECK(batch.tally.written == 6);
  CHECK(times(batch, FindingId::key_of_another_wound) == 0);
}

TEST_CASE("a source without a system is the run's namespace") {
  const auto nameless = [](std::string text) {
    const std::string source = R"("source":{"system":"urn:x:chart"},)";
    return text.erase(text.find(source), source.size());
  };
  auto conversion = to_fhir();
  conversion.options.name_space = "urn:x:chart";
  RecordKeys keys;
  auto batch = batch_of({visit("K1", "1"), nameless(visit("K1", "2")), nameless(visit("K2", "2"))});
  pass(batch, keys, conversion);
  CHECK(batch.tally.written == 2);
  CHECK(times(batch, FindingId::key_of_another_wound) == 1);
}

TEST_CASE("a record that is held back for another reason has no claim on its key") {
  auto broken = visit("K1", "1");
  broken.insert(broken.size() - 1, R"(,"size":{"length":{"value":3}})");
  RecordKeys keys;
  auto batch = batch_of({broken, visit("K1", "2")});
  pass(batch, keys, to_fhir());
  CHECK(batch.tally.written == 1);
  CHECK(times(batch, FindingId::key_of_another_wound) == 0);
}

TEST_CASE("--let lets it pass, and it is told") {
  auto conversion = to_fhir();
  conversion.let = *rules::Selection::of(std::vector<std::string>{"identity.key-of-another-wound"}, {});
  RecordKeys keys;
  auto batch = batch_of({visit("K1", "1"), visit("K1", "2")});
  pass(batch, keys, conversion);
  CHECK(batch.tally.written == 2);
  CHECK(batch.rejects.empty());
  CHECK(times(batch, FindingId::key_of_another_wound) == 1);
}

TEST_CASE("where nothing is written it is told all the same") {
  Conversion conversion;
  conversion.to = &record_form();
  conversion.write = false;
  RecordKeys keys;
  auto batch = batch_of({visit("K1", "1"), visit("K1", "2")});
  pass(batch, keys, conversion);
  CHECK(batch.tally.written == 1);
  CHECK(batch.tally.rejected == 1);
  CHECK(times(batch, FindingId::key_of_another_wound) == 1);
}

TEST_CASE("the resources of a record that is held back are not among those for bulk files") {
  auto conversion = to_fhir();
  conversion.options.pack = "bulk";
  RecordKeys keys, none;
  auto both = batch_of({visit("K1", "1"), visit("K1", "2")}), one = batch_of({visit("K1", "1")});
  pass(both, keys, conversion);
  pass(one, none, conversion);
  CHECK(both.out == one.out);
  CHECK(both.resources.size() == one.resources.size());
}

TEST_CASE("that keys are no longer kept is told once") {
  RecordKeys keys(2);
  auto batch = batch_of({visit("K1", "1"), visit("K2", "1"), visit("K3", "1"), visit("K3", "2")});
  pass(batch, keys, to_fhir());
  auto next = batch_of({visit("K4", "1"), visit("K2", "2")});
  pass(next, keys, to_fhir());
  CHECK(batch.tally.written == 4);
  REQUIRE(times(batch, FindingId::keys_not_kept) == 1);
  CHECK(times(next, FindingId::keys_not_kept) == 0);
  CHECK(times(next, FindingId::key_of_another_wound) == 1);
  for (const auto& one : batch.findings) {
    if (one.id != FindingId::keys_not_kept) continue;
    CHECK(one.line == 2);
    CHECK_FALSE(one.blocks);
  }
}
