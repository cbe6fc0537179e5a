#include "flow/draft.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "base/arena.hpp"
#include "base/decimal.hpp"
#include "record/dictionary.hpp"
#include "record/nearest.hpp"
#include "syntax/csv_stream.hpp"
#include "syntax/json.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

namespace {

using Json = nlohmann::ordered_json;
using record::Field;
using record::Kind;

constexpr std::size_t most_records = 1000;  // of the sample that are looked at
constexpr std::size_t most_words = 40;      // a coded column has no more different cells

struct Column {
  std::string name;
  std::vector<std::string> cells;  // the different ones, in the order they come
  bool all_numbers = true;
};

struct Sample {
  bool is_csv = false;
  char delimiter = ',';
  std::vector<Column> columns;
  std::vector<std::string> nested;  // members of JSON that hold objects or lists
  void add(std::string_view name, std::string_view cell) {
    auto known =
        std::find_if(columns.begin(), columns.end(), [&](const Column& one) { return one.name == name; });
    if (known == columns.end()) known = columns.insert(columns.end(), Column{std::string(name), {}, true});
    if (cell.empty()) return;
    std::string number(cell);
    std::replace(number.begin(), number.end(), ',', '.');
    known->all_numbers = known->all_numbers && is_decimal(number);
    if (known->cells.size() <= most_words &&
        std::find(known->cells.begin(), known->cells.end(), cell) == known->cells.end()) {
      known->cells.emplace_back(cell);
    }
  }
};

Result<Sample> read_json_sample(std::string_view text) {
  Sample sample;
  syntax::TextSource source(text);
  syntax::JsonStream stream(source);
  syntax::JsonPiece piece;
  const syntax::Names names;
  for (std::size_t i = 0; i < most_records && stream.next(piece); ++i) {
    if (piece.error) return *piece.error;
    Arena arena;
    const auto tree = syntax::read_json(piece.bytes, arena, names);
    if (!tree) return tree.error();
    for (const auto* at = (*tree)->first; at != nullptr; at = at->next) {
      if (!at->is_object() && !at->is_array()) {
        sample.add(at->name_text, at->text);
      } else if (std::find(sample.nested.begin(), sample.nested.end(), at->name_text) ==
                 sample.nested.end()) {
        sample.nested.emplace_back(at->name_text);
      }
    }
  }
  return sample;
}

Result<Sample> read_csv_sample(std::string_view text) {
  Sample sample;
  sample.is_csv = true;
  // The sign that stands most often in the header.
  const auto header_line = text.substr(0, text.find('\n'));
  std::ptrdiff_t most = 0;
  for (const char sign : {',', ';', '\t', '|'}) {
    const auto count = std::count(header_line.begin(), header_line.end(), sign);
    if (count > most) {
      most = count;
      sample.delimiter = sign;
    }
  }
  syntax::TextSource source(text);
  syntax::CsvReading how;
  how.delimiter = sample.delimiter;
  syntax::CsvRows rows(source, how);
  const auto header = rows.header();
  if (!header) return header.error();
  for (const auto& name : header->columns) sample.add(name, {});
  syntax::JsonPiece piece;
  std::vector<syntax::CsvCell> cells;
  for (std::size_t i = 0; i < most_records && rows.next(piece); ++i) {
    if (piece.error) return *piece.error;
    Arena arena;
    if (const auto read = syntax::read_csv_cells(piece.bytes, how, arena, cells); !read) return read.error();
    for (std::size_t k = 0; k < cells.size() && k < header->columns.size(); ++k)
      sample.add(header->columns[k], cells[k].text);
  }
  return sample;
}

// Small letters and digits only: "Wound_Length (cm)" is woundlengthcm.
std::string plain(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c >= 'A' && c <= 'Z') out += static_cast<char>(c - 'A' + 'a');
    if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9')) out += c;
  }
  return out;
}

// A unit that the column's name says itself, as UCUM.
std::string unit_in_name(std::string_view name, std::string& rest) {
  static constexpr std::pair<std::string_view, std::string_view> units[] = {
      {"cm2", "cm2"},   {"cm", "cm"},       {"mm", "mm"},        {"ml", "mL"},
      {"in", "[in_i]"}, {"inch", "[in_i]"}, {"inches", "[in_i]"}};
  const auto at = name.find_last_of(" _-([");
  if (at == std::string_view::npos || at == 0) return {};
  const auto last = plain(name.substr(at));
  for (const auto& [said, unit] : units) {
    if (last != said) continue;
    rest = name.substr(0, at);
    return std::string(unit);
  }
  return {};
}

bool can_stand(const Field& field) {
  if (field.is_group() || field.is_list() || field.id == record::FieldId::format) return false;
  for (auto at = field.parent; at != record::FieldId::visit; at = record::field(at).parent) {
    if (record::field(at).is_list()) return false;
  }
  return field.kind != Kind::any && field.kind != Kind::coding;
}

void propose(const Column& column, const std::string& name, DraftColumn& made) {
  const auto said = plain(name);
  const Field* best = nullptr;
  const auto take = [&](const Field& field, Confidence confidence, std::string reason) {
    const auto depth = [](const Field& one) { return std::count(one.path.begin(), one.path.end(), '.'); };
    if (confidence < made.confidence ||
        (confidence == made.confidence && (best == nullptr || depth(field) >= depth(*best))))
      return;
    best = &field;
    made.confidence = confidence;
    made.reason = std::move(reason);
  };
  for (const auto& field : record::dictionary()) {
    if (!can_stand(field)) continue;
    const auto path = plain(field.path);
    const auto own = plain(field.name);
    if (field.id == record::FieldId::id && (said == "visitid" || said == "recordid"))
      take(field, Confidence::medium, "an identifier of the visit");
    else if (said == path)
      take(field, Confidence::high, "the name is the field's");
    else if (said == own && field.kind == Kind::quantity && column.all_numbers)
      take(field, Confidence::medium, "the name is the field's last word, and all cells are numbers");
    else if (said == own)
      take(field, Confidence::low, "the name is the field's last word");
    else if (own.size() > 3 && said.ends_with(own) && path.starts_with(said.substr(0, 3)))
      take(field, Confidence::medium, "the name ends with the field's last word");
    else if (own.size() > 4 && said.size() > 4 && record::edit_distance(said, own) <= 1)
      take(field, Confidence::low, "one letter from the field's last word");
  }
  if (best == nullptr) return;
  made.field = best->path;
}

// The word of a domain that a cell may mean: the same but for capitals and signs, or the nearest.
std::string nearest_word(const terms::Domain& domain, std::string_view cell, bool& same) {
  const auto said = plain(cell);
  std::string nearest;
  std::size_t least = said.size() / 2 + 1;
  for (const auto& one : domain.concepts) {
    for (const auto& text : {one.word, one.display}) {
      const auto distance = record::edit_distance(said, plain(text));
      if (distance == 0 && !said.empty()) {
        same = true;
        return one.word;
      }
      if (distance < least) {
        least = distance;
        nearest = one.word;
      }
    }
  }
  return nearest;
}

std::string csv_cell(std::string_view text) {
  if (text.find_first_of(",\"\n\r#") == std::string_view::npos) return std::string(text);
  std::string out = "\"";
  for (const char c : text) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + "\"";
}

std::string words_table(const Column& column, const terms::Domain& domain) {
  std::string text = "# Cells of '" + column.name + "' and what they mean: a word of " + domain.name +
                     " (charpie codes), (none) or (absent …). DECIDE each.\ncell,means,direction\n";
  for (const auto& cell : column.cells) {
    bool same = false;
    const auto word = nearest_word(domain, cell, same);
    if (!same) text += "# nearest: " + (word.empty() ? std::string("nothing") : word) + "\n";
    text += csv_cell(cell) + ',' + (same ? word : "DECIDE") + ",both\n";
  }
  return text;
}

// Columns whose names differ only in signs or capitals have a table each.
std::string new_table(std::string_view column, const Draft& draft) {
  auto name = plain(column);
  if (name.empty()) name = "words";
  const auto base = name;
  for (int number = 2; draft.files.contains(name + ".csv"); ++number) name = base + std::to_string(number);
  return name;
}

}  // namespace

std::string_view confidence_name(Confidence confidence) {
  static constexpr std::string_view names[] = {"none", "low", "medium", "high"};
  return names[static_cast<std::size_t>(confidence)];
}

Result<Draft> draft_layout(std::string_view text, const terms::Terms& terms) {
  const auto first = text.find_first_not_of(" \t\r\n");
  const bool is_json = first != std::string_view::npos && (text[first] == '{' || text[first] == '[');
  const auto begin = text.substr(std::min(first, text.size()));
  if (begin.starts_with('<') || begin.starts_with("MSH") || begin.starts_with("\xEF\xBB\xBF<")) {
    return Error{Error::invalid,
                 "a draft is made of CSV or JSON, this is neither",
                 {},
                 1,
                 1,
                 "write set.json by mappings/README.md, from a layout of mappings/sites in the same syntax"};
  }
  const auto sample = is_json ? read_json_sample(text) : read_csv_sample(text);
  if (!sample) return sample.error();
  Draft draft;
  Json holes = Json::object();
  std::set<std::string> taken;
  for (const auto& column : sample->columns) {
    DraftColumn made;
    made.name = column.name;
    std::string name = column.name;
    const auto unit = unit_in_name(column.name, name);
    propose(column, name, made);
    if (!made.field.empty() && !taken.insert(made.field).second) {
      made = {column.name,      {}, "'" + made.field + "' was proposed for another column",
              Confidence::none, {}, {}};
    }
    if (!made.field.empty()) {
      const Field& field = *record::find_field(made.field);
      made.hole = (made.confidence == Confidence::low ? "{DECIDE " : "{") + made.field;
      if (field.kind == Kind::quantity) {
        made.hole += " in " + (unit.empty() ? std::string("DECLARE") : unit);
        made.reason += unit.empty() ? "; the unit is not said" : "; the name says the unit";
      }
      const bool comma = std::any_of(column.cells.begin(), column.cells.end(),
                                     [](const auto& cell) { return cell.find(',') != std::string::npos; });
      if (comma && column.all_numbers) made.hole += " as decimal-comma";
      if (field.kind == Kind::time) made.hole += " as local";
      if (field.kind == Kind::code || field.kind == Kind::word) {
        made.table = new_table(column.name, draft);
        made.hole += " by " + made.table;
        if (const auto* domain = terms.domain(field.argument))
          draft.files[made.table + ".csv"] = words_table(column, *domain);
      }
      made.hole += "}";
      holes[column.name] = made.hole;
    } else if (made.reason.empty()) {
      made.reason = "no field of this name";
    }
    draft.columns.push_back(std::move(made));
  }
  for (const auto& name : sample->nested) {
    draft.columns.push_back({name,
                             {},
                             "it holds an object or a list: put its members into the template by hand",
                             Confidence::none,
                             {},
                             {}});
  }
  Json set = {{"what", "DECLARE who sends this, and how"}, {"syntax", sample->is_csv ? "csv" : "json"}};
  if (sample->is_csv) set["delimiter"] = std::string(1, sample->delimiter);
  set["times"] = {
      {"local",
       {{"pattern", {"DECLARE, such as DD.MM.YYYY hh:mm"}}, {"zone", "DECLARE, such as Europe/Berlin"}}}};
  set["given"] = {{"source.system", "DECLARE a URI of the source"},
                  {"patient.system", "DECLARE a URI of its patient numbers"}};
  set["others"] = "DECLARE why the other fields do not travel";
  set["template"] = holes;
  draft.files["set.json"] = set.dump(2) + "\n";
  return draft;
}

}  // namespace charpie::flow
