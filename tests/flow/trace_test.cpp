#include "flow/trace.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <set>

#include "flow/source.hpp"
#include "sample_records.hpp"

using namespace charpie;
using namespace charpie::flow;

namespace {

struct Sample {
  const char* form;
  std::vector<std::string> files;
};
const Sample samples[] = {{"site:northmoor", {"northmoor.xml"}},
                          {"site:elbtal", {"elbtal.csv"}},
                          {"site:birchwood", {"birchwood"}},
                          {"site:lakeside", {"lakeside.hl7"}},
                          {"c-cda", {"visit-note.ccda.xml"}}};

// A form with all that reading it needs, and files of it.
struct Opened {
  std::unique_ptr<SiteForm> form;
  std::unique_ptr<Engine> engine;
  std::vector<std::string> paths;
};
Opened open(const Sample& sample) {
  static const Tables tables(embedded_tables());
  Opened opened;
  opened.form = std::move(SiteForm::open(sample.form, tables)).value();
  const Wanted wanted[] = {{&opened.form->form()}};
  opened.engine = std::move(Engine::load(tables, {}, {}, wanted)).value();
  for (const auto& file : sample.files)
    opened.paths.push_back(std::string(CHARPIE_SOURCE_DIR) + "/samples/" + file);
  return opened;
}

// Calls `use` with each record of the files and what is told of it.
void trace_all(const Opened& opened,
               const std::function<void(const record::Record&, const std::vector<TracedElement>&)>& use) {
  PieceReader reader(*opened.engine, opened.form->form(), {});
  reader.trace();
  reader.keep_unread();
  const auto source = open_source(opened.paths, opened.form->form(), *opened.engine, Cut().sort_memory);
  REQUIRE(source);
  Batch batch;
  while (true) {
    batch.clear();
    const auto more = (*source)->fill(batch);
    REQUIRE(more);
    if (!*more) return;
    for (std::size_t i = 0; i < batch.count; ++i) {
      for (const auto& record : reader.read(batch.pieces[i], batch.file))
        use(record, trace_record({&record, &batch.pieces[i], batch.file}, reader));
    }
  }
}

std::string line_of(const std::string& file, std::uint32_t number) {
  static std::map<std::string, std::vector<std::string>> known;
  auto& lines = known[file];
  if (lines.empty()) {
    std::istringstream text(TemporaryFolder::read_file(file));
    for (std::string line; std::getline(text, line);) lines.push_back(line);
  }
  return number == 0 || number > lines.size() ? "" : lines[number - 1];
}

}  // namespace

TEST_CASE("every value of a record is traced to where it stands, or to what implies it") {
  for (const auto& sample : samples) {
    CAPTURE(sample.form);
    const auto opened = open(sample);
    std::size_t records = 0, implied = 0, words = 0;
    trace_all(opened, [&](const record::Record& record, const std::vector<TracedElement>& elements) {
      ++records;
      std::set<std::string> traced;
      for (const auto& one : elements) {
        CAPTURE(one.element);
        CAPTURE(one.field);
        if (one.kind == TracedElement::Kind::unread) continue;
        traced.insert(one.field);
        CHECK_FALSE(one.value.empty());
        CHECK(one.rule.line > 0);
        CHECK(one.rule.file.starts_with("sites/"));
        CHECK((one.kind == TracedElement::Kind::implied) == one.element.empty());
        CHECK((one.kind == TracedElement::Kind::implied) == (one.line == 0));
        implied += one.kind == TracedElement::Kind::implied;
        words += !one.word_row.file.empty();
      }
      record::visit_values(record,
                           [&](const std::string& path, const record::Field& field, const record::Value&) {
                             if (field.id == record::FieldId::format) return;
                             CAPTURE(path);
                             CHECK(traced.contains(path));
                           });
    });
    CHECK(records > 0);
    CHECK(implied > 0);
    CHECK((words > 0 || std::string_view(sample.form) == "c-cda"));
  }
}

TEST_CASE("a trace says file, line and text of the source, and the row of the site's word") {
  const auto opened = open(samples[2]);
  std::size_t told = 0;
  trace_all(opened, [&](const record::Record& record, const std::vector<TracedElement>& elements) {
    for (const auto& one : elements) {
      if (one.kind != TracedElement::Kind::taken) continue;
      CAPTURE(one.element);
      CHECK(line_of(one.file, one.line).find(one.text) != std::string::npos);
    }
    if (record.text(record::FieldId::id) != "BW-1001") return;
    const auto depth = std::find_if(elements.begin(), elements.end(),
                                    [](const TracedElement& one) { return one.field == "size.depth"; });
    REQUIRE(depth != elements.end());
    CHECK(depth->file.ends_with("samples/birchwood/findings.csv"));
    CHECK(depth->line == 4);
    CHECK(depth->element == "findings[2].value");
    CHECK(depth->text == "8");
    CHECK(depth->value == R"({"value":8,"unit":"mm"})");
    CHECK(std::any_of(elements.begin(), elements.end(), [](const TracedElement& one) {
      return one.element == "dressings[1].layer" && one.field == "dressing[1].role";
    }));
    const auto site = std::find_if(elements.begin(), elements.end(),
                                   [](const TracedElement& one) { return one.field == "wound.site"; });
    REQUIRE(site != elements.end());
    CHECK(site->element == "visit.place");
    CHECK(site->text == "lower back");
    CHECK(site->value == R"("sacrum")");
    CHECK(site->word_row.file == "sites/birchwood/place.csv");
    CHECK(site->word_row.line == 2);
    ++told;
  });
  CHECK(told == 1);
}
