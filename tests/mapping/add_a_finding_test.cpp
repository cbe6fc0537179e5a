// The worked examples of mappings/README.md, done exactly as the page says: the edits, the records and the
// outputs are taken from the page itself, so that page and program cannot drift apart.
#include <doctest/doctest.h>

#include <deque>
#include <functional>
#include <nlohmann/json.hpp>

#include "mapping/fhir.hpp"
#include "terms/publish.hpp"

using namespace charpie;
using namespace charpie::tests;

namespace {

using Json = nlohmann::ordered_json;

// A block of code of the page and the sentence before it, which says what to do with it.
struct Block {
  std::string sentence;
  std::string code;
};

// The blocks below a heading of the page, down to the next heading.
std::vector<Block> blocks_below(const std::string& heading) {
  std::istringstream page(file_text("mappings/README.md"));
  std::vector<Block> blocks;
  std::string line, sentence;
  bool inside = false, in_code = false;
  while (std::getline(page, line)) {
    if (in_code) {
      if (line.starts_with("```")) {
        in_code = false;
      } else if (inside) {
        blocks.back().code += line + "\n";
      }
    } else if (line.starts_with("```")) {
      in_code = true;
      if (inside) blocks.push_back({sentence, {}});
    } else if (line.starts_with("#")) {
      inside = line == heading;
    } else if (!line.empty()) {
      sentence = line;
    }
  }
  return blocks;
}

// The tables with the edits of an example made. Owns its texts.
struct Edited {
  std::vector<TableFile> files{embedded_tables()};
  std::deque<std::string> texts;
  std::string record, output;  // of the page

  // Changes the file whose name the sentence holds.
  void edit(const std::string& sentence, const std::function<void(std::string&)>& change) {
    const auto open = sentence.find('`');
    const auto path = sentence.substr(open + 1, sentence.find('`', open + 1) - open - 1);
    for (auto& file : files) {
      if (file.path != path) continue;
      texts.emplace_back(file.text);
      change(texts.back());
      file.text = texts.back();
      return;
    }
    FAIL("the page names a file that is not there: " << path);
  }
};

// `leave_out`: the number of an edit that is not made, to see that it is needed.
Edited follow(const std::string& heading, std::size_t leave_out = SIZE_MAX) {
  Edited edited;
  std::size_t edits = 0;
  const auto blocks = blocks_below(heading);
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    // No structured binding: clang 14 cannot capture one.
    const auto& sentence = blocks[i].sentence;
    const auto& code = blocks[i].code;
    if (sentence.starts_with("At the end of `")) {
      if (edits++ == leave_out) continue;
      edited.edit(sentence, [&](std::string& text) {
        REQUIRE(text.ends_with('\n'));
        text += code;
      });
    } else if (sentence.starts_with("In `")) {
      REQUIRE(sentence.ends_with("replace"));
      REQUIRE(i + 1 < blocks.size());
      REQUIRE(blocks[i + 1].sentence == "with");
      if (edits++ == leave_out) continue;
      edited.edit(sentence, [&](std::string& text) {
        const auto at = text.find(code);
        REQUIRE_MESSAGE(at != std::string::npos, "not in the file any more:\n" << code);
        REQUIRE_MESSAGE(text.find(code, at + 1) == std::string::npos, "stands there twice:\n" << code);
        text.replace(at, code.size(), blocks[i + 1].code);
      });
    } else if (sentence.starts_with("A record")) {
      edited.record = code;
    } else if (sentence.starts_with("comes out")) {
      edited.output = code;
    } else {
      REQUIRE(sentence == "with");
    }
  }
  REQUIRE(edits > 0);
  REQUIRE(!edited.record.empty());
  REQUIRE(!edited.output.empty());
  return edited;
}

// A mapping set made from edited tables.
struct Made {
  Tables tables;
  terms::Terms terms;
  Result<std::unique_ptr<mapping::Mapping>> mapping;

  explicit Made(const Edited& edited)
      : tables(edited.files),
        terms(std::move(terms::Terms::load(tables)).value()),
        mapping(mapping::Mapping::load(tables, terms, loaded().fixed)) {}

  std::string write(const record::Record& record) const {
    mapping::Writer writer(**mapping, {});
    std::string bundle;
    writer.write_bundle(record, bundle);
    return bundle;
  }
  Back read_back(const std::string& bundle) const {
    Back back{std::make_unique<const std::string>(bundle)};
    auto tree = syntax::read_json(*back.bytes, *back.arena, (*mapping)->names());
    REQUIRE(tree);
    mapping::Reader reader(**mapping, {});
    back.findings.begin("bundle.json", {}, *back.bytes, 1);
    reader.read(**tree, *back.bytes, *back.arena, back.findings, back.records);
    return back;
  }
};

// How many resources of a bundle have the members of the shown one, each exactly so.
std::size_t count_like(const std::string& bundle, const Json& shown) {
  std::size_t count = 0;
  const auto parsed = Json::parse(bundle);
  for (const auto& entry : parsed.at("entry")) {
    const auto& resource = entry.at("resource");
    bool like = true;
    for (const auto& [name, value] : shown.items()) {
      like = like && resource.contains(name) && resource.at(name) == value;
    }
    count += like ? 1 : 0;
  }
  return count;
}

std::string replaced(std::string text, std::string_view from, std::string_view to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

constexpr const char* own_finding = "### A finding of your own";
constexpr const char* own_row = "### A row of your own";

}  // namespace

TEST_CASE("a finding of one's own gets its code without C++") {
  const auto edited = follow(own_finding);
  const Made made(edited);
  REQUIRE_MESSAGE(made.mapping, made.mapping.error().message);
  const auto reading = read(edited.record);
  REQUIRE(reading.said() == "");
  const auto shown = Json::parse(edited.output);

  const auto bundle = made.write(reading.record);
  CHECK(count_like(bundle, shown) == 1);
  // Not before the edits.
  CHECK(count_like(to_fhir(reading.record), shown) == 0);

  const auto back = made.read_back(bundle);
  CHECK(back.said() == "");
  REQUIRE(back.records.size() == 1);
  Differences differences;
  record::compare(reading.record, back.records.front(), &differences);
  CHECK(differences.text() == "");

  // What was sent before the edits is still read.
  const auto old = made.read_back(to_fhir(reading.record));
  REQUIRE(old.records.size() == 1);
  Differences old_differences;
  record::compare(reading.record, old.records.front(), &old_differences);
  CHECK(old_differences.text() == "");

  // The word is published with the others.
  const auto* questions = made.terms.domain("question");
  REQUIRE(questions != nullptr);
  CHECK(questions->find("foot-pulses-felt") != nullptr);
  CHECK(terms::codes_as_fhir(made.terms, "question").dump().find("foot-pulses-felt") != std::string::npos);
}

TEST_CASE("a name that does not go with the code of one's own finding is noticed") {
  const auto edited = follow(own_finding);
  const Made made(edited);
  REQUIRE(made.mapping);
  const auto reading = read(edited.record);
  const auto bundle = made.write(reading.record);
  const auto back =
      made.read_back(replaced(bundle, "\"text\":\"Foot pulses felt\"", "\"text\":\"Toe pulses felt\""));
  CHECK_MESSAGE(back.blocks(), back.said());
}

TEST_CASE("a row of one's own sends a copy that is compared on the way back") {
  const auto edited = follow(own_row);
  const Made made(edited);
  REQUIRE_MESSAGE(made.mapping, made.mapping.error().message);
  const auto reading = read(edited.record);
  REQUIRE(reading.said() == "");
  const auto shown = Json::parse(edited.output);

  const auto bundle = made.write(reading.record);
  CHECK(count_like(bundle, shown) == 1);
  CHECK(count_like(to_fhir(reading.record), shown) == 0);
  // With the digits as charted, in the component and in the copy.
  const std::string_view digits = "\"value\":12.50,";
  const auto home = bundle.find(digits);
  REQUIRE(home != std::string::npos);
  CHECK(bundle.find(digits, home + 1) != std::string::npos);

  const auto back = made.read_back(bundle);
  CHECK(back.said() == "");
  REQUIRE(back.records.size() == 1);
  Differences differences;
  record::compare(reading.record, back.records.front(), &differences);
  CHECK(differences.text() == "");

  // Somebody changes the copy alone.
  const auto own_code = bundle.find("\"code\":\"size.area.alone\"");
  REQUIRE(own_code != std::string::npos);
  const auto changed =
      bundle.substr(0, own_code) + replaced(bundle.substr(own_code), digits, "\"value\":13.50,");
  const auto noticed = made.read_back(changed);
  CHECK(noticed.slugs().contains("mirror.differs"));
  CHECK(noticed.blocks());
}

TEST_CASE("each edit of the row is needed, and its lack is told with file, line and mend") {
  for (std::size_t edit = 0; edit < 3; ++edit) {
    CAPTURE(edit);
    const auto edited = follow(own_row, edit);
    const Made made(edited);
    if (made.mapping) {
      // Only the row itself can be left out without a refusal: then there is no copy.
      CHECK(count_like(made.write(read(edited.record).record), Json::parse(edited.output)) == 0);
      CHECK(edit == 2);
      continue;
    }
    const auto& error = made.mapping.error();
    CHECK(error.kind == Error::mapping_broken);
    CHECK(error.file.starts_with("fhir/"));
    CHECK(error.line > 0);
    CHECK(!error.mend.empty());
  }
}

TEST_CASE("the row without its mirror is refused: a field has one home") {
  auto edited = follow(own_row);
  for (auto& file : edited.files) {
    if (file.path != "fhir/frames.json") continue;
    edited.texts.push_back(replaced(std::string(file.text), "{mirror <field>}", "{<field>}"));
    file.text = edited.texts.back();
  }
  const Made made(edited);
  REQUIRE(!made.mapping);
  CHECK(made.mapping.error().message.find("'size.area' has two homes") != std::string::npos);
}
