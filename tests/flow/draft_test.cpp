// First drafts of layouts: what is seen in a sample, and that a draft works once a person has decided what it
// leaves open.
#include "flow/draft.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "flow/coverage.hpp"
#include "flow/form.hpp"
#include "sample_records.hpp"

using namespace charpie;
using namespace charpie::flow;

namespace {

std::string line_of(const Draft& draft, std::string_view name) {
  for (const auto& one : draft.columns) {
    if (one.name == name)
      return one.hole + " (" + std::string(confidence_name(one.confidence)) + ": " + one.reason + ")";
  }
  return "not told";
}

Draft drafted(const std::vector<SampleFile>& samples, Row row = Row::guess) {
  auto draft = draft_layout(samples, test_engine().terms(), row);
  REQUIRE_MESSAGE(bool(draft), (draft ? "" : draft.error().message));
  return std::move(*draft);
}

std::string refusal(const std::vector<SampleFile>& samples, Row row = Row::guess) {
  const auto draft = draft_layout(samples, test_engine().terms(), row);
  return draft ? "" : draft.error().file + ": " + draft.error().message;
}

using Edits = std::vector<std::pair<std::string, std::string>>;

void replace_all(std::string& text, const Edits& edits) {
  for (const auto& edit : edits) {
    const auto& old = edit.first;
    const auto& by = edit.second;
    CAPTURE(old);
    CHECK(text.find(old) != std::string::npos);
    for (auto at = text.find(old); at != std::string::npos; at = text.find(old, at + by.size()))
      text.replace(at, old.size(), by);
  }
}

// The draft, written to a folder and decided: every edit is needed. What its layout makes of the samples.
Coverage decided(Draft draft, const std::vector<SampleFile>& samples,
                 const std::map<std::string, Edits>& edits) {
  const TemporaryFolder folder;
  for (const auto& [file, list] : edits) replace_all(draft.files.at(file), list);
  for (const auto& [name, text] : draft.files) folder.write(name, text);
  const TemporaryFolder inputs;
  std::vector<std::string> paths;
  for (const auto& one : samples) paths.push_back(inputs.write(one.name, one.text));
  static const Tables tables(embedded_tables());
  const auto site = SiteForm::open("site:" + folder.path.string(), tables);
  REQUIRE_MESSAGE(bool(site), (site ? "" : site.error().message + "\n" + site.error().mend));
  const Wanted wanted[] = {{&(*site)->form()}};
  const auto engine = Engine::load(tables, {}, {}, wanted);
  REQUIRE_MESSAGE(bool(engine), (engine ? "" : engine.error().file + ": " + engine.error().message));
  auto coverage = cover(paths, **engine, (*site)->form());
  REQUIRE(bool(coverage));
  return std::move(*coverage);
}

std::string listed(const Counted& counted) {
  std::string all;
  for (const auto& [text, count] : counted) all += text + " " + std::to_string(count) + "\n";
  return all;
}

bool filled(const Coverage& coverage, std::string_view field, std::uint64_t records) {
  return std::any_of(coverage.filled.begin(), coverage.filled.end(),
                     [&](const auto& one) { return one.first == field && one.second == records; });
}

// What every draft leaves open.
const Edits usual = {{"DECLARE who sends this, and how", "an invented site"},
                     {"DECLARE, such as DD.MM.YYYY hh:mm", "YYYY-MM-DD hh:mm"},
                     {"DECLARE, such as Europe/Berlin", "America/Chicago"},
                     {"DECLARE a URI of the source", "https://invented.example/chart"},
                     {"DECLARE a URI of its patient numbers", "https://invented.example/patients"},
                     {"DECLARE why the other fields do not travel", "no column for it"}};

Edits usual_and(Edits more) {
  more.insert(more.begin(), usual.begin(), usual.end());
  return more;
}

// With what most samples do not say: a final record of that kind and outcome.
Edits usual_and(std::string_view kind, std::string_view outcome, Edits more) {
  const std::string declare = "DECLARE, or give it a place in the template: ";
  const Edits said = {{declare + "preliminary, final, amended, corrected or entered-in-error", "final"},
                      {declare + "dressing-change, assessment or both", std::string(kind)},
                      {declare + "completed, stopped or not-done", std::string(outcome)}};
  more.insert(more.begin(), said.begin(), said.end());
  return usual_and(std::move(more));
}

const SampleFile long_form = {"observations.csv",
                              "Visit ID,Patient,Wound ID,Observation,Result,Units,Remark\n"
                              "V-1,P-7,1,Status,final,,\n"
                              "V-1,P-7,1,Performed kind,assessment,,\n"
                              "V-1,P-7,1,Performed outcome,completed,,\n"
                              "V-1,P-7,1,Start,2026-03-02 10:30,,\n"
                              "V-1,P-7,1,Wound length,\"4,0\",cm,by ruler\n"
                              "V-1,P-7,1,Width (cm),\"2,5\",,\n"
                              "V-1,P-7,1,Infection signs,warmth,,\n"
                              "V-1,P-7,1,Infection signs,odor,,\n"
                              "V-1,P-7,1,Mood,fine,,\n"
                              "V-2,P-8,1,Status,final,,\n"
                              "V-2,P-8,1,Performed kind,assessment,,\n"
                              "V-2,P-8,1,Performed outcome,completed,,\n"
                              "V-2,P-8,1,Start,2026-03-03 09:00,,\n"
                              "V-2,P-8,1,Wound length,\"31\",mm,\n"
                              "V-2,P-8,1,Infection signs,warmth,,\n"};

}  // namespace

TEST_CASE("one row a finding: the key, the finding and the answer are seen, and the draft reads the sample") {
  const auto draft = drafted({long_form});
  CHECK(line_of(draft, "Visit ID") ==
        "{each record.id} (medium: 2 different cells in 15 rows; with it 2 other columns stay the same; the "
        "heading "
        "says so, too)");
  CHECK(line_of(draft, "Patient") ==
        "{DECIDE each record.patient.id} (low: the name is that of what it identifies)");
  CHECK(line_of(draft, "Wound ID") == "{each record.wound.id} (high: the name is the field's)");
  CHECK(line_of(draft, "Observation") ==
        "names the finding of a row (medium: 8 different cells, hardly one twice in a visit; the heading "
        "says so, "
        "too)");
  CHECK(line_of(draft, "Result") ==
        "holds the answer (medium: filled in 15 of 15 rows, numbers beside words; the heading says so, too)");
  CHECK(line_of(draft, "Observation 'Wound length'") ==
        "{size.length.value as decimal-comma} (medium: the name is the field's last word, and all cells are "
        "numbers, "
        "without 'wound'; the unit stands beside it)");
  CHECK(line_of(draft, "Observation 'Width (cm)'") ==
        "{size.width in cm as decimal-comma} (medium: the name is the field's last word, and all cells are "
        "numbers; "
        "the name says the unit)");
  CHECK(line_of(draft, "Observation 'Infection signs'") ==
        "{infectionSigns by infectionsigns} (high: the name is the field's)");
  CHECK(line_of(draft, "Observation 'Mood'") == " (none: no field of this name)");
  CHECK(line_of(draft, "Remark") ==
        " (none: filled beside 'Wound length': put it into their rows of the template)");
  CHECK(draft.missing.empty());
  const auto coverage =
      decided(draft, {long_form},
              {{"set.json", usual_and({{"{DECIDE each record.patient.id}", "{each record.patient.id}"},
                                       {"{DECIDE performed.start as", "{performed.start as"}})},
               {"infectionsigns.csv", {{"odor,DECIDE", "odor,foul-odor"}}}});
  CHECK(coverage.records == 2);
  CHECK(coverage.blocked == 0);
  CHECK(listed(coverage.unread) == "rows 1\nrows.Remark 1\n");
  for (const char* field :
       {"id", "patient.id", "wound.id", "status", "performed.start", "size.length", "infectionSigns"})
    CHECK(filled(coverage, field, 2));
  CHECK(filled(coverage, "size.width", 1));
}

TEST_CASE(
    "several files: the one with one row a visit comes first, whatever the order, and the draft reads them") {
  std::vector<SampleFile> samples;
  for (const std::string name : {"dressings.csv", "findings.csv", "visits.csv"})
    samples.push_back({name, project_file("samples/birchwood/" + name)});
  const auto draft = drafted(samples);
  CHECK(draft.columns.front().name == "visits.csv");
  CHECK(line_of(draft, "visits.csv") ==
        "one row a visit (medium: no cell of 'visit' stands twice, and the other files have them)");
  CHECK(line_of(draft, "dressings.csv") ==
        "one row an element of 'dressing' (medium: it is named after that)");
  CHECK(line_of(draft, "dressings.csv material") ==
        "{material by material} (medium: a member of 'dressing' has this name)");
  CHECK(line_of(draft, "findings.csv finding 'depth'") ==
        "{size.depth.value} (medium: the name is the field's last word, and all cells are numbers; the unit "
        "stands "
        "beside it)");
  CHECK(line_of(draft, "visits.csv place") ==
        "{DECIDE wound.site by place} (low: 2 of 2 different cells are words of body-site)");
  CHECK(draft.missing ==
        std::vector<std::string>{"status", "patient.id", "performed.kind", "performed.outcome"});
  CHECK(draft.files.at("unit.csv").ends_with("cell,means,direction\ncm,cm,both\nmm,mm,both\n"));
  const auto coverage = decided(
      draft, samples,
      {{"set.json",
        usual_and("assessment", "completed",
                  {{"      \"visit\": \"{each record.id}\",\n      \"wound\"",
                    "      \"visit\": \"{each record.id}\",\n      \"client\": \"{patient.id}\",\n"
                    "      \"began\": \"{performed.start as local}\",\n      \"wound\""},
                   {"    \"patient.id\": \"DECLARE, or give it a place in the template: identifier of the "
                    "patient\",\n",
                    ""},
                   {"      \"state\": \"{DECIDE wound.stage by state}\",\n", ""},
                   {"{DECIDE tissue by tissue}", "{percent as text}"},
                   {"\"unit\": \"%\"", "\"unit\": \"%\", \"detail\": \"{tissue by tissue}\""},
                   {"{DECIDE ", "{"}})},
       {"side.csv", {{"middle,DECIDE", "middle,midline"}}},
       {"state.csv", {{"signed,DECIDE,both\n", ""}}},
       {"odor.csv",
        {{"a little,DECIDE", "a little,faint"},
         {"not smelled,DECIDE", "not smelled,(absent not-performed)"}}},
       {"tissue.csv",
        {{"60,DECIDE", "red,granulation"}, {"40,DECIDE", "yellow,slough"}, {"100,DECIDE,both\n", ""}}},
       {"woundtype.csv",
        {{"pressure,DECIDE", "pressure,pressure-injury"},
         {"venous leg,DECIDE", "venous leg,venous-ulcer"}}}});
  CHECK(coverage.records == 4);
  CHECK(coverage.blocked == 0);
  CHECK(listed(coverage.words) == "");
  for (const char* field : {"id", "patient.id", "wound.id", "wound.type", "wound.site"})
    CHECK(filled(coverage, field, 4));
  CHECK(filled(coverage, "size.length", 3));
  CHECK(filled(coverage, "bed.tissue", 2));
  CHECK(filled(coverage, "dressing.material", 2));
}

TEST_CASE("one row a visit stays one, though patients repeat") {
  const SampleFile wide = {"chart.csv",
                           "nr,patient_id,wound_id,date,amount,odor\n"
                           "1,7001,1,2026-03-02,moderate,none\n"
                           "2,7001,1,2026-03-04,small,faint\n"
                           "3,7002,1,2026-03-02,moderate,none\n"
                           "4,7002,1,2026-03-05,none,none\n"};
  CHECK(line_of(drafted({wide}), "patient_id") == "{patient.id} (high: the name is the field's)");
  CHECK(line_of(drafted({{"brookfield.csv", project_file("samples/brookfield.csv")}}), "visit_id") ==
        "{id} (medium: an identifier of the visit)");
  // Whoever knows better says so.
  CHECK(line_of(drafted({long_form}, Row::visit), "Observation") == " (none: no field of this name)");
  CHECK(refusal({{"one.csv", "a,b\n1,2\n"}}, Row::finding) ==
        "one.csv: no column repeats whose rows could be the findings of one visit");
  CHECK(refusal({{"one.csv", "visit,b\n1,2\n"}}, Row::finding) ==
        "one.csv: no column repeats whose rows could be the findings of one visit");
  // Words that vary from row to row are no findings yet: neither a heading nor the answers speak for it.
  const SampleFile words = {"words.csv", "client,was,is\nC-1,a,x\nC-1,b,y\nC-2,a,z\nC-2,b,x\n"};
  CHECK(line_of(drafted({words}), "was") == " (none: no field of this name)");
  CHECK(line_of(drafted({words}, Row::finding), "was").starts_with("names the finding of a row (medium: "));
}

TEST_CASE("more different cells than a chart has questions are no findings") {
  const auto with_names = [](int count) {
    std::string text = "client,who,amount\n";
    for (int i = 0; i < 500; ++i)
      text += "C-" + std::to_string(i / 10) + ",person " + std::to_string(i % count) + "," +
              (i % 2 == 0 ? "3" : "x") + "\n";
    return SampleFile{"names.csv", text};
  };
  CHECK(line_of(drafted({with_names(40)}), "who").starts_with("names the finding of a row"));
  CHECK(line_of(drafted({with_names(250)}), "who") == " (none: no field of this name)");
}

TEST_CASE("one row a finding is seen without any word of English") {
  const auto draft = drafted({{"elbtal.csv", project_file("samples/elbtal.csv")}});
  CHECK(line_of(draft, "Beleg") ==
        "{DECIDE each record.id} (low: 3 different cells in 50 rows; with it 5 other columns stay the same)");
  CHECK(line_of(draft, "Frage") ==
        "names the finding of a row (low: 27 different cells, hardly one twice in a visit)");
  CHECK(line_of(draft, "Antwort") == "holds the answer (low: filled in 49 of 50 rows, numbers beside words)");
  CHECK(draft.files.at("set.json").find("\"encoding\": \"DECLARE, such as WINDOWS-1252: it is not UTF-8\"") !=
        std::string::npos);
  CHECK(draft.files.at("status.csv").find("endgültig,DECIDE,both") != std::string::npos);
}

TEST_CASE("rows of one key that name no finding are elements of a list") {
  const SampleFile sample = {"dressing.csv",
                             "visit,patient id,wound id,material,count\n"
                             "V-1,P-1,1,foam,1\n"
                             "V-1,P-1,1,alginate,2\n"
                             "V-2,P-1,1,foam,1\n"};
  const auto draft = drafted({sample});
  CHECK(line_of(draft, "patient id") == "{each record.patient.id} (high: the name is the field's)");
  CHECK(line_of(draft, "material") ==
        "{material by material} (medium: a member of 'dressing' has this name)");
  CHECK(line_of(draft, "count") == "{count} (medium: a member of 'dressing' has this name)");
  const auto coverage =
      decided(draft, {sample}, {{"set.json", usual_and("dressing-change", "not-done", {})}});
  CHECK(coverage.records == 2);
  CHECK(listed(coverage.unread) == "");
  for (const char* field : {"id", "patient.id", "dressing.material", "dressing.count"})
    CHECK(filled(coverage, field, 2));
}

TEST_CASE("what a member of a group needs is asked for; a second file may have one row a visit, too") {
  const std::vector<SampleFile> samples = {
      {"visits.csv", "visit,patient_id,wound_id\nV-1,P-1,1\nV-2,P-2,1\n"},
      {"periwound.csv", "visit,finding\nV-1,maceration\nV-1,erythema\n"},
      {"pain.csv", "number,pain_before,drainage_amount\nV-2,3,moderate\n"}};
  const auto draft = drafted(samples);
  CHECK(line_of(draft, "periwound.csv finding").starts_with("{finding by finding}"));
  CHECK(line_of(draft, "pain.csv") == "one row a visit, too (medium: no cell of its key stands twice)");
  CHECK(line_of(draft, "pain.csv pain_before") == "{pain.before} (high: the name is the field's)");
  // The key has another name there.
  CHECK(line_of(draft, "visits.csv visit") == "{DECIDE each record.id} (low: joins the files)");
  CHECK(draft.missing ==
        std::vector<std::string>{"status", "performed.kind", "performed.outcome", "periwound.present"});
  const auto coverage = decided(
      draft, samples,
      {{"set.json",
        usual_and("assessment", "not-done",
                  {{"DECLARE, or give it a place in the template: false is a charted negative", "true"},
                   {"{DECIDE each record.id}", "{each record.id}"}})}});
  CHECK(coverage.records == 2);
  CHECK(coverage.blocked == 0);
  CHECK(listed(coverage.unread) == "");
  for (const char* field : {"periwound.finding", "periwound.present", "pain.before", "drainage.amount"})
    CHECK(filled(coverage, field, 1));
}

TEST_CASE("a draft of XML has the shape of the documents, and reads them") {
  const SampleFile sample = {"northmoor.xml", project_file("samples/northmoor.xml")};
  const auto draft = drafted({sample});
  CHECK(line_of(draft, "export") ==
        "stands around the documents, a 'patient' each (medium: it holds several, and nothing else)");
  CHECK(line_of(draft, "@nr") == "{DECIDE patient.id} (low: a number may identify)");
  CHECK(line_of(draft, "visit.wound") == "a record each (low: a list that no list of the record is like)");
  CHECK(line_of(draft, "visit.wound.size.length") ==
        "{size.length.value} (high: the name is the field's; the unit stands beside it)");
  CHECK(line_of(draft, "visit.wound.space.extent") ==
        "{extent.value} (medium: a member of 'spaces' has this name; the unit stands beside it)");
  CHECK(line_of(draft, "visit.wound.layer") ==
        "an element of 'dressing' each (low: members that are named alike: 4)");
  // The stage is surer of its field than the state that comes before it.
  CHECK(line_of(draft, "visit.wound.@state") == " (none: 'wound.stage' was proposed for another place)");
  CHECK(line_of(draft, "visit.wound.stage") ==
        "{wound.stage by stage} (high: the name is the field's; but all cells are numbers)");
  CHECK(draft.missing == std::vector<std::string>{"status", "performed.kind", "performed.outcome"});
  const auto words = [&](const std::string& table, std::string_view means) {
    Edits edits;
    std::string_view text = draft.files.at(table);
    for (auto at = text.find(",DECIDE,"); at != std::string_view::npos; at = text.find(",DECIDE,", at + 1)) {
      const auto line = text.rfind('\n', at) + 1;
      edits.emplace_back(std::string(text.substr(line, at - line)) + ",DECIDE,both",
                         std::string(text.substr(line, at - line)) + "," + std::string(means) + ",in");
    }
    return edits;
  };
  const auto coverage =
      decided(draft, {sample},
              {{"set.json",
                usual_and("assessment", "not-done",
                          {{"\"YYYY-MM-DD hh:mm\"", "\"MM/DD/YYYY hh:mm AP\", \"MM/DD/YYYY\""},
                           {"DECIDE ", ""},
                           {"\"{id}\"", "\"{encounter.id}\""},
                           {"\"@nr\": \"{wound.id}\"", "\"@nr\": \"{wound.id}\", \"@record\": \"{id}\""}})},
               {"sex.csv", words("sex.csv", "female")},
               {"type.csv", words("type.csv", "pressure-injury")},
               {"stage.csv", words("stage.csv", "stage-3")},
               {"side.csv", words("side.csv", "left")},
               {"method.csv", words("method.csv", "clock-axis")},
               {"kind.csv", words("kind.csv", "tunnel")},
               {"amount.csv", words("amount.csv", "moderate")},
               {"type2.csv", words("type2.csv", "serous")},
               {"odor.csv", words("odor.csv", "none")},
               {"scale.csv", words("scale.csv", "numeric-0-10")},
               {"role.csv", words("role.csv", "nurse")},
               {"role2.csv", words("role2.csv", "cover")},
               {"material.csv", words("material.csv", "foam")},
               {"reason.csv", words("reason.csv", "patient-declined")}});
  CHECK(coverage.records == 4);
  for (const char* field : {"id", "patient.id", "wound.id", "wound.type", "performed.start"})
    CHECK(filled(coverage, field, 4));
  CHECK(filled(coverage, "size.length", 3));
  CHECK(filled(coverage, "spaces.extent", 1));
  CHECK(filled(coverage, "dressing.material", 2));
}

TEST_CASE("a draft of JSON follows objects and lists") {
  const SampleFile sample = {"visits.json",
                             R"([{"id":"V-1","status":"final","patient":{"id":"P-1"},
  "wound":{"id":"1","type":"burn"},
  "performed":{"kind":"assessment","outcome":"not-done"},
  "size":{"length":{"value":4.0,"unit":"cm"},"width_mm":31},"edges":["rolled","attached"],
  "tunnels":[1],"bed":[{"tissue":"slough","percent":40,"by":{"x":1}}]}])"};
  const auto draft = drafted({sample});
  CHECK(line_of(draft, "size.length") ==
        "{size.length.value} (high: the name is the field's; the unit stands beside it)");
  CHECK(line_of(draft, "size.width_mm") ==
        "{size.width in mm} (high: the name is the field's; the name says the unit)");
  CHECK(line_of(draft, "edges") == "{edges by edges} (high: the name is the field's)");
  CHECK(line_of(draft, "bed") == "an element of 'bed' each (medium: it is named after that)");
  CHECK(line_of(draft, "bed.by") == " (none: no member of 'bed' of this name)");
  CHECK(line_of(draft, "tunnels") == " (none: no list of this name)");
  const auto coverage = decided(draft, {sample}, {{"set.json", usual}});
  CHECK(coverage.records == 1);
  CHECK(coverage.blocked == 0);
  CHECK(listed(coverage.unread) == "bed.by 1\ntunnels 1\n");
  for (const char* field :
       {"id", "wound.type", "size.length", "size.width", "edges", "bed.tissue", "bed.percent"})
    CHECK(filled(coverage, field, 1));
}

TEST_CASE("records of a document are the elements of one list, wherever it stands") {
  const SampleFile sample = {"export.json",
                             R"({"old":{"visits":[{"wound":{"type":"burn"}}]},
  "data":{"visits":[{"id":"V-1","wound":{"id":"1","type":"burn"},"pain":{"before":3}},
                    {"id":"V-2","nr":7,"wound":{"id":"2","type":"burn"}}]}})"};
  const auto draft = drafted({sample});
  CHECK(line_of(draft, "data.visits") == "a record each (low: a list that no list of the record is like)");
  CHECK(line_of(draft, "data.visits.id") == "{DECIDE id} (low: the name is the field's)");
  CHECK(line_of(draft, "data.visits.nr") == " (none: no field of this name)");
  CHECK(line_of(draft, "data.visits.wound.type") == "{wound.type by type} (high: the name is the field's)");
  CHECK(line_of(draft, "old.visits") == " (none: no list of the record is like it)");
  CHECK(draft.files.at("set.json").find("\"records\": \"DECIDE data.visits\"") != std::string::npos);
}

TEST_CASE("a column of elements may be the same in a visit by chance; two words may be one unit") {
  const auto draft = drafted({{"visits.csv", "visit,patient_id\nV-1,P-1\nV-2,P-2\n"},
                              {"dressings.csv", "visit,role,material\nV-1,cover,foam\nV-1,cover,gauze\n"},
                              {"findings.csv",
                               "visit,finding,value,unit\n"
                               "V-1,length,2,in\nV-1,width,1,inches\nV-2,length,3,inch\nV-2,width,3,ell\n"}});
  CHECK(line_of(draft, "dressings.csv role") ==
        "{role by role} (medium: a member of 'dressing' has this name)");
  CHECK(draft.files.at("unit.csv")
            .ends_with("\nin,[in_i],both\ninch,[in_i],in\ninches,[in_i],in\nell,DECIDE,both\n"));
}

TEST_CASE("capitals tell units apart: a unit in other ones is for a person to decide") {
  const auto draft = drafted({{"visits.csv", "visit,patient_id\nV-1,P-1\nV-2,P-2\n"},
                              {"findings.csv",
                               "visit,finding,value,unit\n"
                               "V-1,length,2,MM\nV-1,width,1,mm\nV-2,length,3,ML\nV-2,width,3,mm\n"}});
  CHECK(draft.files.at("unit.csv")
            .ends_with("\n# nearest: mm\nMM,DECIDE,both\n# nearest: mL\nML,DECIDE,both\nmm,mm,both\n"));
}

TEST_CASE("files that do not belong together, and names that a template cannot have, are told") {
  const SampleFile visits = {"visits.csv", "visit,client\nV-1,C-1\nV-2,C-2\n"};
  CHECK(refusal({visits, {"other.csv", "x,y\n8,9\n"}}).starts_with(": no column joins these files"));
  CHECK(refusal({visits, {"other.csv", "visit;layer\nV-1;foam\n"}}) ==
        "other.csv: its delimiter or its encoding is another than that of visits.csv");
  CHECK(refusal({visits, visits}) ==
        "visits.csv: two files have this name, by which a layout tells them apart");
  CHECK(refusal({visits, {"a.json", "{}"}}) == "a.json: several files are joined only where all are CSV");
  CHECK(refusal({{"broken.csv", "a,b\n1,\"2\n"}}).starts_with("broken.csv: "));
  CHECK(refusal({visits, {"other.csv", "visit<>,layer\nV-1,foam\n"}}) ==
        "other.csv: the column 'visit<>' names the visit, and a template cannot have that name");
  CHECK(line_of(drafted({{"a.csv", "visit_id,wound.id,wound <type>\nV-1,1,burn\n"}}), "wound <type>") ==
        " (none: 'wound.type', but a template cannot have this name)");
  // A file without rows is joined by its heading.
  CHECK(line_of(drafted({visits, {"dressings.csv", "visit,material\n"}}), "dressings.csv material") ==
        "{material by material} (medium: a member of 'dressing' has this name)");
}

TEST_CASE("a layout is refused as long as anything is left to decide") {
  const SampleFile visits = {"visits.csv", "visit_id,type\nV-1,burn\nV-2,x\n"};
  const auto draft = drafted({visits});
  const TemporaryFolder folder;
  for (const auto& [name, text] : draft.files) folder.write(name, text);
  const Tables tables(embedded_tables());
  const auto site = SiteForm::open("site:" + folder.path.string(), tables);
  REQUIRE(!site);
  CHECK(site.error().kind == Error::mapping_broken);
  CHECK(site.error().line == 2);
  CHECK(site.error().message == "is still to be decided: \"what\": \"DECLARE who sends this, and how\",");
  CHECK(site.error().mend.starts_with("decide it, and write that in its place; 12 more are left:\n"));
  CHECK(site.error().mend.find("\"type\": \"{DECIDE wound.type by type}\"") != std::string::npos);
  CHECK(site.error().mend.ends_with("/type.csv:5: x,DECIDE,both"));
}
