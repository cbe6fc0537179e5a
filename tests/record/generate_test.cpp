// The generator itself: what it claims to cover occurs, its text is canonical, and the same seed gives the
// same bytes.
#include "record/generate.hpp"

#include <doctest/doctest.h>

#include <cstdlib>

using namespace charpie;
using tests::Generator;

namespace {

// How many records the gate takes; everything with CHARPIE_LONG=1.
std::size_t how_many() {
  return std::getenv("CHARPIE_LONG") != nullptr ? 20000 : 2000;
}

void holds_the_law(const std::string& text) {
  const auto first = tests::read(text);
  REQUIRE_MESSAGE(first.said() == "", text);
  const std::string written = first.written();
  REQUIRE(written == text);
  const auto second = tests::read(written);
  REQUIRE(second.said() == "");
  REQUIRE(record::compare(first.record, second.record, nullptr) == 0);
}

}  // namespace

TEST_CASE("read(write(record)) = record on generated records") {
  Generator generator(20260302);
  for (std::size_t i = 0; i < how_many(); ++i) holds_the_law(generator.wild());
  for (std::size_t i = 0; i < how_many() / 10; ++i) holds_the_law(generator.typical());
  for (std::size_t i = 0; i < 20; ++i) holds_the_law(generator.minimal());
}

TEST_CASE("the covering set says everything that every field can say") {
  Generator generator(7);
  tests::Coverage coverage;
  const auto records = generator.covering(50, &coverage);
  CHECK(records.size() >= 50);
  CHECK(coverage.records() == records.size());
  CHECK(coverage.missing(generator.words(), {}).empty());
  for (const auto& text : records) holds_the_law(text);
  // A few by hand, so that an empty list of labels cannot pass for full coverage.
  CHECK(coverage.of("size.length", "unit:[in_i]") > 0);
  CHECK(coverage.of("size.length", "number:29-digits") > 0);
  CHECK(coverage.of("spaces", "form:none") > 0);
  CHECK(coverage.of("spaces", "form:list-5") > 0);
  CHECK(coverage.of("wound.type", "code:foreign+display+text+also") > 0);
  CHECK(coverage.of("wound.landmark", "form:absent-asked-declined") > 0);
  CHECK(coverage.of("extra.value", "any:flag") > 0);
  CHECK(coverage.of("notes", "text:right-to-left") > 0);
  MESSAGE("covering set: " << records.size() << " records, " << coverage.counts().size() << " things said");
}

TEST_CASE("every word of a long list occurs") {
  tests::GeneratorOptions options;
  options.words = [](std::string_view domain) {
    auto words = tests::invented_words(domain);
    if (domain == "body-site") {
      words.clear();
      for (int i = 1; i <= 60; ++i) words.push_back("site-" + std::to_string(i));
    }
    return words;
  };
  tests::Coverage coverage;
  const auto records = Generator(8, options).covering(1, &coverage);
  for (int i = 1; i <= 60; ++i) CHECK(coverage.of("wound.site", "word:site-" + std::to_string(i)) > 0);
  CHECK(coverage.of("wound.site", "word:site-61") == 0);
  MESSAGE(records.size() << " records");
}

TEST_CASE("coverage counts what is missing") {
  tests::Coverage coverage;
  coverage.count(tests::read(Generator(1).minimal()).record);
  const auto never = coverage.missing(tests::invented_words, {});
  CHECK(std::find(never.begin(), never.end(), "size.length unit:cm") != never.end());
  CHECK(std::find(never.begin(), never.end(), "format text:ascii") == never.end());
}

TEST_CASE("what is not allowed does not occur") {
  tests::GeneratorOptions options;
  options.allowed = [](const record::Field& field, std::string_view label) {
    return !(field.path == "size.length" && label == "unit:cm") && label != "text:astral" &&
           !label.starts_with("form:absent");
  };
  Generator generator(3, options);
  tests::Coverage coverage;
  for (int i = 0; i < 300; ++i) coverage.count(tests::read(generator.wild()).record);
  CHECK(coverage.of("size.length", "unit:cm") == 0);
  CHECK(coverage.of("size.length", "unit:mm") > 0);
  CHECK(coverage.of("size.width", "unit:cm") > 0);
  for (const auto& [said, count] : coverage.counts()) {
    CHECK(said.find("text:astral") == said.npos);
    CHECK(said.find("form:absent") == said.npos);
  }
}

TEST_CASE("the same seed gives the same bytes") {
  Generator a(5), b(5), c(6);
  std::string from_a, from_b, from_c;
  for (int i = 0; i < 20; ++i) {
    from_a += a.wild() + a.typical();
    from_b += b.wild() + b.typical();
    from_c += c.wild() + c.typical();
  }
  CHECK(from_a == from_b);
  CHECK(from_a != from_c);
}

TEST_CASE("a typical record has about 2.3 kB") {
  Generator generator(1);
  std::size_t bytes = 0;
  for (int i = 0; i < 100; ++i) bytes += generator.typical().size();
  CHECK(bytes / 100 > 2200);
  CHECK(bytes / 100 < 3200);
  MESSAGE("typical: " << bytes / 100 << " bytes");
}
