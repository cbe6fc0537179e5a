// Each rule against its own case and the nearest case that must pass: tests/cases/rules/<slug>.json and
// <slug>.near.json. The list of findings decides which cases must be there.
#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>

#include "rules/checking.hpp"
#include "rules/history.hpp"
#include "rules/page.hpp"

using namespace charpie;
using namespace charpie::tests;
using record::FindingId;

namespace {

constexpr std::string_view folder = "tests/cases/rules/";

// Everything that is found in a text of records, by the rules on one record and by the history.
struct Found {
  std::vector<record::Finding> findings;
  std::set<std::string> slugs() const {
    std::set<std::string> all;
    for (const auto& one : findings) all.emplace(record::finding_kind(one.id).slug);
    return all;
  }
};

Found find(std::string_view text, std::string_view file, const rules::CheckOptions& options,
           bool with_history, std::size_t memory = 1u << 20) {
  Found found;
  rules::History history(book(), {memory, options.derive});
  rules::VisitNotes notes(book());
  for (const auto& piece : pieces(text)) {
    if (piece.error) continue;
    auto reading = checked(piece.bytes, book(), options);
    for (auto& one : reading.findings.take()) {
      one.file = file;
      one.line += static_cast<std::uint32_t>(piece.line) - 1;
      found.findings.push_back(one);
    }
    if (!with_history || reading.record.root == nullptr) continue;
    reading.record.file = file;
    reading.record.line = static_cast<std::uint32_t>(piece.line);
    std::string noted;
    notes.append(reading.record, noted);
    REQUIRE(history.add(noted));
  }
  REQUIRE(history.finish([&](std::vector<record::Finding> more) {
    found.findings.insert(found.findings.end(), more.begin(), more.end());
  }));
  return found;
}

Found find_case(const std::string& name, std::string_view slug) {
  rules::CheckOptions options;
  options.as_of = "2026-06-01T10:00+02:00";
  options.derive = slug.starts_with("derived.");
  return find(source_file(std::string(folder) + name), name, options, true);
}

}  // namespace

TEST_CASE("each rule finds its case and lets the nearest good one pass") {
  for (std::size_t i = 0; i < record::finding_kinds().size(); ++i) {
    if (!rules::is_rule(static_cast<FindingId>(i))) continue;
    const std::string slug(record::finding_kinds()[i].slug);
    CAPTURE(slug);
    std::set<std::string> expected{slug};
    // Three whole numbers of 20 or more are always deeper than the limit of depth as well.
    if (slug == "size.maybe-millimetres") expected.insert("size.too-large");
    CHECK(find_case(slug + ".json", slug).slugs() == expected);
    CHECK(find_case(slug + ".near.json", slug).slugs() == std::set<std::string>{});
  }
}

TEST_CASE("no case is left of a rule that is no longer in the list") {
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(CHARPIE_SOURCE_DIR) + "/" + std::string(folder))) {
    auto name = entry.path().filename().string();
    if (!name.ends_with(".json")) continue;
    name.resize(name.size() - 5);
    if (name.ends_with(".near")) name.resize(name.size() - 5);
    CAPTURE(name);
    const auto id = record::find_finding(name);
    REQUIRE(id != FindingId::count);
    CHECK(rules::is_rule(id));
  }
}

TEST_CASE("the samples show exactly the findings that they announce") {
  // tests/cases/rules/samples.expected: file, record, slug, path; one finding a line, in order of the lines'
  // text.
  std::vector<std::string> found;
  for (const auto& [files, with_history] :
       {std::pair(std::vector<std::string>{"visits.ndjson", "two-more-visits.json", "one-visit.json"}, true),
        std::pair(std::vector<std::string>{"broken.ndjson"}, false)}) {
    rules::History history(book(), {});
    rules::VisitNotes notes(book());
    const auto keep = [&](const std::string& file, const record::Finding& one) {
      found.push_back(file + "\t" + one.record_key + "\t" + std::string(record::finding_kind(one.id).slug) +
                      "\t" + one.path);
    };
    for (const auto& file : files) {
      for (const auto& piece : pieces(source_file("samples/" + file))) {
        if (piece.error) continue;
        auto reading = checked(piece.bytes);
        for (const auto& one : reading.findings.all()) keep(file, one);
        if (!with_history || reading.record.root == nullptr) continue;
        reading.record.file = file;
        std::string noted;
        notes.append(reading.record, noted);
        REQUIRE(history.add(noted));
      }
    }
    REQUIRE(history.finish([&](std::vector<record::Finding> more) {
      for (const auto& one : more) keep(one.file, one);
    }));
  }
  std::sort(found.begin(), found.end());
  std::string text;
  for (const auto& line : found) text += line + "\n";
  const auto expected_path = std::string(folder) + "samples.expected";
  if (std::getenv("CHARPIE_ACCEPT") != nullptr) {
    std::ofstream(std::string(CHARPIE_SOURCE_DIR) + "/" + expected_path, std::ios::binary) << text;
  }
  CHECK(text == source_file(expected_path));

  SUBCASE("and README.md of the samples names each of their slugs beside its record") {
    const auto readme = source_file("samples/README.md");
    for (const auto& line : found) {
      if (line.starts_with("broken.ndjson")) continue;
      const auto first = line.find('\t');
      const auto second = line.find('\t', first + 1);
      const auto key = line.substr(first + 1, second - first - 1);
      const auto slug = line.substr(second + 1, line.find('\t', second + 1) - second - 1);
      CAPTURE(key);
      CAPTURE(slug);
      bool beside = false;
      for (std::size_t at = 0; at < readme.size();) {
        const auto end = std::min(readme.find('\n', at), readme.size());
        const auto row = readme.substr(at, end - at);
        beside =
            beside || (row.find(key) != std::string::npos && row.find("`" + slug + "`") != std::string::npos);
        at = end + 1;
      }
      CHECK(beside);
    }
  }
}

TEST_CASE("no message names a patient") {
  // Patient keys of cases and samples, and what must not stand in any message.
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(CHARPIE_SOURCE_DIR) + "/" + std::string(folder))) {
    const auto name = entry.path().filename().string();
    if (!name.ends_with(".json")) continue;
    for (const auto& one : find_case(name, name).findings) {
      CHECK(one.message.find("P-1") == std::string::npos);
      CHECK(one.message.find("P-2") == std::string::npos);
      CHECK(one.mend.find("P-1") == std::string::npos);
    }
  }
  for (const auto& one : find(source_file("samples/visits.ndjson"), "visits.ndjson", {}, true).findings) {
    for (const auto* key : {"HS-20", "FH-77"}) CHECK((one.message + one.mend).find(key) == std::string::npos);
  }
}

TEST_CASE("the history is the same whatever memory it has") {
  const auto text = source_file("samples/visits.ndjson");
  std::string roomy, narrow;
  for (const auto& one : find(text, "visits.ndjson", {}, true).findings)
    roomy += one.record_key + one.path + one.message + "\n";
  for (const auto& one : find(text, "visits.ndjson", {}, true, 2000).findings)
    narrow += one.record_key + one.path + one.message + "\n";
  CHECK(roomy.size() > 100);
  CHECK(roomy == narrow);
}
