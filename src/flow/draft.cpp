#include "flow/draft.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "base/arena.hpp"
#include "flow/field_proposal.hpp"
#include "flow/undecided.hpp"
#include "record/dictionary.hpp"
#include "syntax/json.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

namespace {

using Json = nlohmann::ordered_json;
using record::Field;
using record::FieldId;
using record::Kind;

constexpr auto no_column = SampleTable::no_column;

std::string in_quotes(std::string_view text) {
  return "'" + std::string(text) + "'";
}

std::string declare(std::string_view what) {
  return std::string(declare_mark) + std::string(what);
}

// Names that mean themselves in a template: no parameter, no hole, no directive.
bool can_stand_in_template(std::string_view name) {
  return !name.empty() && !name.starts_with('$') && name.find_first_of("<>{}") == std::string_view::npos;
}

// A unit that the column's name says itself, as UCUM.
std::string unit_in_name(std::string_view name, std::string& rest) {
  const auto at = name.find_last_of(" _-([");
  if (at == std::string_view::npos || at == 0) return {};
  const auto unit = unit_of_word(name.substr(at));
  if (!unit.empty()) rest = name.substr(0, at);
  return std::string(unit);
}

std::string csv_cell(std::string_view text) {
  if (text.find_first_of(",\"\n\r#") == std::string_view::npos) return std::string(text);
  std::string out = "\"";
  for (const char c : text) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + "\"";
}

std::string one_line(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return c == '\n' || c == '\r'; }, ' ');
  return text;
}

std::string words_table(const std::string& name, const Cells& cells, const terms::Domain& domain) {
  std::string text = "# Cells of '" + one_line(name) + "' and what they mean: a word of " + domain.name +
                     " (charpie codes), (none) or (absent …). " + std::string(decide_mark) +
                     " each.\ncell,means,direction\n";
  for (const auto& cell : cells.different) {
    bool same = false;
    const auto word = nearest_word(domain, cell, same);
    if (!same) text += "# nearest: " + (word.empty() ? std::string("nothing") : word) + "\n";
    text += csv_cell(cell) + ',' + (same ? word : std::string(decide_mark)) + ",both\n";
  }
  return text;
}

std::string units_table(const std::string& name, const Cells& cells) {
  std::string text = "# Cells of '" + one_line(name) + "' and the UCUM codes that they mean. " +
                     std::string(decide_mark) + " each.\ncell,means,direction\n";
  for (const auto& cell : cells.different) {
    const auto unit = unit_of_word(cell);
    text += csv_cell(cell) + ',' + std::string(unit.empty() ? decide_mark : unit) + ",both\n";
  }
  return text;
}

class Drafting {
 public:
  explicit Drafting(const terms::Terms& terms) : terms_(terms), proposals_(terms) {}

  Draft of_json(const std::vector<std::pair<std::string, Cells>>& members,
                const std::vector<std::string>& nested) {
    Json set = beginning("json");
    Json holes = Json::object();
    for (const auto& [name, cells] : members) add_column(name, name, cells, {}, holes);
    for (const auto& name : nested)
      leave_out(name, "it holds an object or a list: put its members into the template by hand");
    return finished(std::move(set), std::move(holes));
  }

  Draft of_visits(const SampleTable& table) {
    Json set = beginning(table);
    Json holes = Json::object();
    for (std::size_t i = 0; i < table.columns.size(); ++i)
      add_column(table.columns[i], table.columns[i], table.cells(i), {}, holes);
    return finished(std::move(set), std::move(holes));
  }

  Result<Draft> of_rows(const SampleTable& table, RowShape shape) {
    prefer_list(table, shape);
    if (auto stands = key_stands(table, shape.key); !stands) return stands.error();
    Json set = beginning(table);
    set["key"] = {table.columns[shape.key]};
    set["rows"] = "rows";
    set["columns"] = table.columns;
    Json frame = Json::object();
    add_key(table.columns[shape.key], table.columns[shape.key], shape.key_confidence, shape.key_reason,
            frame);
    for (const auto i : shape.common)
      add_column(table.columns[i], table.columns[i], table.cells(i), "record.", frame);
    Json rows = rows_of(table, shape, "", Json{{"$frame", "row"}});
    if (shape.finding != no_column) frame[table.columns[shape.finding]] = "<finding>";
    frames_["row"] = std::move(frame);
    return finished(std::move(set), Json{{"rows", std::move(rows)}});
  }

  Result<Draft> of_tables(std::span<const SampleTable> tables, const Join& join) {
    const auto& first = tables[join.first];
    for (std::size_t i = 0; i < tables.size(); ++i) {
      if (auto stands = key_stands(tables[i], join.keys[i]); !stands) return stands.error();
    }
    Json set = beginning(first);
    const auto& key = first.columns[join.keys[join.first]];
    set["key"] = {key};
    Json named = Json::object(), holes = Json::object();
    const auto add = [&](std::size_t number) -> std::string {
      const auto& table = tables[number];
      auto name = table.file.substr(0, table.file.find_last_of('.'));
      if (!can_stand_in_template(name) || named.contains(name)) name = "table" + std::to_string(number + 1);
      Json how = {{"file", table.file}};
      if (table.columns[join.keys[number]] != key) how["key"] = {table.columns[join.keys[number]]};
      how["columns"] = table.columns;
      named[name] = std::move(how);
      return name;
    };
    draft_.columns.push_back({first.file, "one row a visit", join.reason, join.confidence});
    Json visit = Json::object();
    const auto name_of_first = add(join.first);
    const auto place = [&](std::size_t number, std::size_t column) {
      return tables[number].file + " " + tables[number].columns[column];
    };
    for (std::size_t i = 0; i < first.columns.size(); ++i) {
      if (i == join.keys[join.first])
        add_key(place(join.first, i), first.columns[i], join.confidence, "joins the files", visit);
      else
        add_column(place(join.first, i), first.columns[i], first.cells(i), {}, visit);
    }
    holes[name_of_first] = std::move(visit);
    for (std::size_t number = 0; number < tables.size(); ++number) {
      if (number == join.first) continue;
      const auto& table = tables[number];
      auto shape = rows_by_key(table, join.keys[number]);
      prefer_list(table, shape);
      shape.common.clear();  // what is the same by chance, or stands in the first file
      Json row = {{table.columns[shape.key], "{each record.id}"}};
      holes[add(number)] = rows_of(table, shape, table.file + " ", std::move(row));
    }
    set["tables"] = std::move(named);
    return finished(std::move(set), std::move(holes));
  }

 private:
  // A list that the file is named after speaks against a mere count of cells.
  void prefer_list(const SampleTable& table, RowShape& shape) const {
    if (shape.finding_confidence == Confidence::low &&
        proposals_.propose_list(table).confidence == Confidence::medium)
      shape.finding = no_column;
  }

  static Outcome key_stands(const SampleTable& table, std::size_t key) {
    if (can_stand_in_template(table.columns[key])) return std::monostate{};
    return Error{
        Error::invalid,
        "the column '" + table.columns[key] + "' names the visit, and a template cannot have that name",
        table.file,
        1,
        0,
        "name it without < > { } and $"};
  }

  Json beginning(std::string_view syntax) const {
    return {{"what", declare(" who sends this, and how")}, {"syntax", syntax}};
  }
  Json beginning(const SampleTable& table) const {
    Json set = beginning("csv");
    set["delimiter"] = std::string(1, table.delimiter);
    if (!table.is_utf8) set["encoding"] = declare(", such as WINDOWS-1252: it is not UTF-8");
    return set;
  }

  Draft finished(Json set, Json holes) {
    set["times"] = {{"local",
                     {{"pattern", {declare(", such as DD.MM.YYYY hh:mm")}},
                      {"zone", declare(", such as Europe/Berlin")}}}};
    Json given = Json::object();
    if (!taken_.contains("source.system")) given["source.system"] = declare(" a URI of the source");
    if (!taken_.contains("patient.system"))
      given["patient.system"] = declare(" a URI of its patient numbers");
    for (const auto& field : record::dictionary()) {
      if (!is_needed(field)) continue;
      draft_.missing.emplace_back(field.path);
      given[std::string(field.path)] =
          declare(", or give it a place in the template: " + std::string(field.meaning));
    }
    if (!given.empty()) set["given"] = std::move(given);
    set["others"] = declare(" why the other fields do not travel");
    if (!frames_.empty()) set["frames"] = std::move(frames_);
    set["template"] = std::move(holes);
    draft_.files["set.json"] = set.dump(2) + "\n";
    return std::move(draft_);
  }

  // Required in a record, or in a group that something was proposed for.
  bool is_needed(const Field& field) const {
    if (field.is_group() || field.id == FieldId::format || field.occurs != record::Occurs::required ||
        said_.contains(field.id))
      return false;
    for (auto id = field.parent; id != FieldId::visit; id = record::field(id).parent) {
      const bool is_there = std::any_of(said_.begin(), said_.end(),
                                        [&](FieldId one) { return record::field(one).parent == id; });
      if (record::field(id).occurs != record::Occurs::required && !is_there) return false;
    }
    return true;
  }

  void leave_out(std::string name, std::string reason) {
    draft_.columns.push_back({std::move(name), {}, std::move(reason), Confidence::none});
  }

  void add_key(std::string place, const std::string& column, Confidence confidence, std::string reason,
               Json& holes) {
    taken_.insert("id");
    said_.insert(FieldId::id);
    std::string hole = confidence == Confidence::low ? std::string(decide_mark) + " " : std::string();
    hole = "{" + hole + "each record.id}";
    holes[column] = hole;
    draft_.columns.push_back({std::move(place), std::move(hole), std::move(reason), confidence});
  }

  // Columns whose names differ only in signs or capitals have a table each.
  std::string new_table(std::string_view column) {
    auto name = plain(column);
    if (name.empty()) name = "words";
    const auto base = name;
    for (int number = 2; draft_.files.contains(name + ".csv"); ++number) name = base + std::to_string(number);
    return name;
  }

  // The hole of a field, `way` being how the template names it where the hole stands. Makes its table of
  // words.
  std::string hole_of(const Proposal& proposed, std::string_view way, const std::string& name,
                      const Cells& cells, std::string_view behind, std::string& reason) {
    const Field& field = *proposed.field;
    said_.insert(field.id);
    std::string hole = proposed.confidence == Confidence::low ? "{" + std::string(decide_mark) + " " : "{";
    hole += way;
    hole += behind;
    if (cells.with_comma && cells.all_numbers) hole += " as decimal-comma";
    if (field.kind == Kind::time) hole += " as local";
    if (field.kind == Kind::code || field.kind == Kind::word) {
      const auto table = new_table(name);
      hole += " by " + table;
      if (const auto* domain = terms_.domain(field.argument))
        draft_.files[table + ".csv"] = words_table(name, cells, *domain);
      if (cells.too_many())
        reason += "; more than " + std::to_string(Cells::most) + " different cells, the table has the first";
    }
    return hole + "}";
  }

  // Whether the field may be proposed: once, and of a list once any of its members.
  bool take(const Proposal& proposed, const std::string& place) {
    const Field* list = list_of(*proposed.field);
    if (taken_.insert((list == nullptr ? proposed.field : list)->path).second) return true;
    leave_out(place, in_quotes(proposed.field->path) + " was proposed for another column");
    return false;
  }

  // A column that holds a field of the visit, into `holes`. `each`: it stands in every row of the visit, and
  // is named from the record.
  void add_column(const std::string& place, const std::string& column, const Cells& cells,
                  std::string_view each, Json& holes) {
    std::string name = column;
    const auto unit = unit_in_name(column, name);
    auto proposed = proposals_.propose(name, cells, Place::visit);
    if (proposed.field == nullptr) return leave_out(place, "no field of this name");
    if (!can_stand_in_template(column))
      return leave_out(place, in_quotes(proposed.field->path) + ", but a template cannot have this name");
    if (!take(proposed, place)) return;
    std::string behind;
    if (proposed.field->kind == Kind::quantity) behind = said_unit(unit, proposed.reason);
    const auto way = each.empty() ? std::string(proposed.field->path)
                                  : "each " + std::string(each) + std::string(proposed.field->path);
    auto hole = hole_of(proposed, way, column, cells, behind, proposed.reason);
    holes[column] = hole;
    draft_.columns.push_back({place, std::move(hole), std::move(proposed.reason), proposed.confidence});
  }

  static std::string said_unit(std::string_view unit, std::string& reason) {
    reason += unit.empty() ? "; the unit is not said" : "; the name says the unit";
    return " in " + (unit.empty() ? std::string(declare_mark) : std::string(unit));
  }

  // The rows of a file below the visit: a finding each, or an element of a list each. `row` is what all have.
  Json rows_of(const SampleTable& table, const RowShape& shape, const std::string& place, Json row) {
    return shape.finding == no_column ? elements_of(table, shape, place, std::move(row))
                                      : findings_of(table, shape, place, row);
  }

  Json elements_of(const SampleTable& table, const RowShape& shape, const std::string& place, Json row) {
    const auto list = proposals_.propose_list(table);
    const auto is_common = [&](std::size_t i) {
      return i == shape.key || std::find(shape.common.begin(), shape.common.end(), i) != shape.common.end();
    };
    if (list.confidence != Confidence::medium && table.count_different(shape.key) == table.rows.size()) {
      draft_.columns.push_back(
          {table.file, "one row a visit, too", "no cell of its key stands twice", Confidence::medium});
      for (std::size_t i = 0; i < table.columns.size(); ++i) {
        if (!is_common(i)) add_column(place + table.columns[i], table.columns[i], table.cells(i), {}, row);
      }
      return Json::array({std::move(row)});
    }
    if (list.field == nullptr || !taken_.insert(list.field->path).second) {
      leave_out(table.file, list.field == nullptr
                                ? "several rows a visit, and no list that they are elements of"
                                : in_quotes(list.field->path) + " was proposed for another file");
      return Json::array({std::move(row)});
    }
    const std::string list_name(list.field->path);
    draft_.columns.push_back(
        {table.file, "one row an element of " + in_quotes(list_name), list.reason, list.confidence});
    row["$for"] =
        (list.confidence == Confidence::low ? std::string(decide_mark) + " " : std::string()) + list_name;
    std::set<std::string_view> members;
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      if (is_common(i)) continue;
      const auto& column = table.columns[i];
      std::string name = column;
      const auto unit = unit_in_name(column, name);
      const auto cells = table.cells(i);
      auto proposed = proposals_.propose_member(*list.field, name, cells);
      if (proposed.field == nullptr || !can_stand_in_template(column) ||
          !members.insert(proposed.field->name).second) {
        leave_out(place + column, "no member of " + in_quotes(list_name) + " of this name");
        continue;
      }
      std::string behind;
      if (proposed.field->kind == Kind::quantity) behind = said_unit(unit, proposed.reason);
      auto hole = hole_of(proposed, proposed.field->name, column, cells, behind, proposed.reason);
      row[column] = hole;
      draft_.columns.push_back(
          {place + column, std::move(hole), std::move(proposed.reason), proposed.confidence});
    }
    return Json::array({std::move(row)});
  }

  Json findings_of(const SampleTable& table, const RowShape& shape, const std::string& place,
                   const Json& common) {
    const auto& finding = table.columns[shape.finding];
    draft_.columns.push_back(
        {place + finding, "names the finding of a row", shape.finding_reason, shape.finding_confidence});
    const auto& answer = table.columns[shape.answer];
    draft_.columns.push_back(
        {place + answer, "holds the answer", shape.answer_reason, shape.finding_confidence});
    Json rows = Json::array();
    std::vector<std::string> names;
    for (const auto& row : table.rows) {
      if (std::find(names.begin(), names.end(), row[shape.finding]) == names.end())
        names.push_back(row[shape.finding]);
    }
    Cells units;
    std::string unit_words;
    for (const auto& name : names) {
      const auto shown = place + finding + " " + in_quotes(name);
      std::string rest = name;
      const auto unit = unit_in_name(name, rest);
      const auto cells = table.cells(shape.answer, shape.finding, name);
      auto proposed = proposals_.propose(rest, cells, Place::finding);
      if (proposed.field == nullptr || !can_stand_in_template(name)) {
        leave_out(shown,
                  proposed.field == nullptr ? "no field of this name" : "a template cannot say this name");
        continue;
      }
      if (!take(proposed, shown)) continue;
      Json row = common;
      if (row.contains("$frame"))
        row["$with"] = {{"finding", name}};
      else
        row[finding] = name;
      row[answer] = Json();  // its place
      const Field& field = *proposed.field;
      std::string way(field.path);
      if (const Field* list = list_of(field)) {
        row["$for"] = list->path;
        if (list != &field) way = field.name;
      }
      const auto their_units =
          shape.unit == no_column ? Cells{} : table.cells(shape.unit, shape.finding, name);
      std::string behind;
      if (field.kind == Kind::quantity && their_units.any()) {
        if (unit_words.empty()) {
          unit_words = new_table(table.columns[shape.unit]);
          draft_.files[unit_words + ".csv"];  // its place; filled below
        }
        for (const auto& one : their_units.different) units.add(one);
        behind = ".value";
        proposed.reason += "; the unit stands beside it";
        row[table.columns[shape.unit]] = "{" + way + ".unit by " + unit_words + "}";
      } else if (field.kind == Kind::quantity) {
        behind = said_unit(unit, proposed.reason);
      } else if (their_units.different.size() == 1 && can_stand_in_template(their_units.different.front())) {
        row[table.columns[shape.unit]] = their_units.different.front();
      }
      auto hole = hole_of(proposed, way, name, cells, behind, proposed.reason);
      row[answer] = hole;
      draft_.columns.push_back({shown, std::move(hole), std::move(proposed.reason), proposed.confidence});
      rows.push_back(std::move(row));
    }
    if (!unit_words.empty())
      draft_.files[unit_words + ".csv"] = units_table(table.columns[shape.unit], units);
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      if (i == shape.key || i == shape.finding || i == shape.answer || i == shape.unit ||
          std::find(shape.common.begin(), shape.common.end(), i) != shape.common.end())
        continue;
      std::string beside;
      std::size_t count = 0;
      for (const auto& name : names) {
        if (!table.cells(i, shape.finding, name).any()) continue;
        if (++count <= 3) beside += (count == 1 ? "" : ", ") + in_quotes(name);
      }
      if (count > 3) beside += " and others";
      leave_out(place + table.columns[i],
                beside.empty() ? "it is empty"
                               : "filled beside " + beside + ": put it into their rows of the template");
    }
    if (rows.empty()) rows.push_back(common);
    return rows;
  }

  const terms::Terms& terms_;
  FieldProposals proposals_;
  Draft draft_;
  Json frames_ = Json::object();
  std::set<FieldId> said_;            // fields that have a hole
  std::set<std::string_view> taken_;  // fields that were proposed, and of lists the lists
};

Result<Draft> draft_json(std::string_view text, const terms::Terms& terms) {
  std::vector<std::pair<std::string, Cells>> members;
  std::vector<std::string> nested;  // members that hold objects or lists
  syntax::TextSource source(text);
  syntax::JsonStream stream(source);
  syntax::JsonPiece piece;
  const syntax::Names names;
  for (std::size_t i = 0; i < SampleTable::most_rows && stream.next(piece); ++i) {
    if (piece.error) return *piece.error;
    Arena arena;
    const auto tree = syntax::read_json(piece.bytes, arena, names);
    if (!tree) return tree.error();
    for (const auto* at = (*tree)->first; at != nullptr; at = at->next) {
      if (!at->is_object() && !at->is_array()) {
        auto known = std::find_if(members.begin(), members.end(),
                                  [&](const auto& one) { return one.first == at->name_text; });
        if (known == members.end()) known = members.insert(known, {std::string(at->name_text), Cells{}});
        known->second.add(at->text);
      } else if (std::find(nested.begin(), nested.end(), at->name_text) == nested.end()) {
        nested.emplace_back(at->name_text);
      }
    }
  }
  return Drafting(terms).of_json(members, nested);
}

Error refuse(std::string message, std::string file, std::string mend) {
  return {Error::invalid, std::move(message), std::move(file), 1, 1, std::move(mend)};
}

}  // namespace

Result<Draft> draft_layout(std::span<const SampleFile> samples, const terms::Terms& terms, Row row) {
  std::vector<SampleTable> tables;
  for (const auto& sample : samples) {
    const std::string_view text = sample.text;
    const auto first = text.find_first_not_of(" \t\r\n");
    const auto begin = text.substr(std::min(first, text.size()));
    if (begin.starts_with('<') || begin.starts_with("MSH") || begin.starts_with("\xEF\xBB\xBF<")) {
      return refuse(
          "a draft is made of CSV or JSON, this is neither", sample.name,
          "write set.json by mappings/README.md, from a layout of mappings/sites in the same syntax");
    }
    if (begin.starts_with('{') || begin.starts_with('[')) {
      if (samples.size() != 1)
        return refuse("several files are joined only where all are CSV", sample.name, "draft from it alone");
      auto draft = draft_json(text, terms);
      if (!draft) draft.error().file = sample.name;
      return draft;
    }
    auto table = read_sample(sample);
    if (!table) return table.error();
    const auto same_name = [&](const SampleTable& one) { return one.file == table->file; };
    if (std::any_of(tables.begin(), tables.end(), same_name))
      return refuse("two files have this name, by which a layout tells them apart", sample.name,
                    "name one of them");
    if (!tables.empty() &&
        (table->delimiter != tables.front().delimiter || table->is_utf8 != tables.front().is_utf8)) {
      return refuse("its delimiter or its encoding is another than that of " + tables.front().file,
                    sample.name, "bring the files of one layout to one delimiter and one encoding");
    }
    tables.push_back(std::move(*table));
  }
  if (tables.size() == 1) {
    const auto& table = tables.front();
    const auto shape = rows_of_visits(table, row);
    if (shape) return Drafting(terms).of_rows(table, *shape);
    if (row == Row::finding)
      return refuse("no column repeats whose rows could be one visit", table.file,
                    "leave --row finding away");
    return Drafting(terms).of_visits(table);
  }
  const auto joined = join(tables);
  if (!joined) return joined.error();
  return Drafting(terms).of_tables(tables, *joined);
}

}  // namespace charpie::flow
