#include "flow/proposed_layout.hpp"

#include <algorithm>

#include "flow/undecided.hpp"
#include "record/dictionary.hpp"

namespace charpie::flow {

using record::Field;
using record::FieldId;
using record::Kind;

namespace {

std::string declare(std::string_view what) {
  return std::string(declare_mark) + std::string(what);
}

std::string csv_cell(std::string_view text) {
  if (text.find_first_of(",\"\n\r#") == std::string_view::npos) return std::string(text);
  std::string out = "\"";
  for (const char c : text) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + "\"";
}

std::string table_head(std::string name, std::string_view means) {
  std::replace_if(
      name.begin(), name.end(), [](char c) { return c == '\n' || c == '\r'; }, ' ');
  return "# Cells of '" + name + "' and " + std::string(means) + " " + std::string(decide_mark) +
         " each.\ncell,means,direction\n";
}

std::string words_table(const std::string& name, const Cells& cells, const terms::Domain& domain) {
  std::string text = table_head(
      name, "what they mean: a word of " + domain.name + " (charpie codes), (none) or (absent …).");
  for (const auto& cell : cells.different) {
    bool same = false;
    const auto word = nearest_word(domain, cell, same);
    if (!same) text += "# nearest: " + (word.empty() ? std::string("nothing") : word) + "\n";
    text += csv_cell(cell) + ',' + (same ? word : std::string(decide_mark)) + ",both\n";
  }
  return text;
}

std::string units_table(const std::string& name, const Cells& cells) {
  std::string text = table_head(name, "the UCUM codes that they mean.");
  std::set<std::string_view> known;  // a second cell of one meaning is only read
  for (const auto& cell : cells.different) {
    const auto unit = unit_of_word(cell);
    const bool again = !unit.empty() && !known.insert(unit).second;
    if (const auto nearest = nearest_unit(cell); unit.empty() && !nearest.empty())
      text += "# nearest: " + std::string(nearest) + "\n";
    text +=
        csv_cell(cell) + ',' + std::string(unit.empty() ? decide_mark : unit) + (again ? ",in\n" : ",both\n");
  }
  return text;
}

}  // namespace

std::string decide_if_low(Confidence confidence) {
  return confidence < Confidence::medium ? std::string(decide_mark) + " " : std::string();
}

bool can_stand_in_template(std::string_view name) {
  return !name.empty() && !name.starts_with('$') && name.find_first_of("<>{}") == std::string_view::npos;
}

std::string unit_in_name(std::string_view name, std::string& rest) {
  const auto at = name.find_last_of(" _-([");
  if (at == std::string_view::npos || at == 0) return {};
  const auto unit = unit_of_word(name.substr(at));
  if (!unit.empty()) rest = name.substr(0, at);
  return std::string(unit);
}

void ProposedLayout::tell(std::string name, std::string hole, std::string reason, Confidence confidence) {
  draft_.columns.push_back({std::move(name), std::move(hole), std::move(reason), confidence});
}

bool ProposedLayout::take(const Proposal& proposed, const std::string& place) {
  const Field* list = list_of(*proposed.field);
  const auto path = (list == nullptr ? proposed.field : list)->path;
  auto& surest = surest_[path];
  const bool is_surest = proposed.confidence >= surest;
  if (is_surest) surest = proposed.confidence;
  if (is_surest && taken_.insert(path).second) return true;
  leave_out(place, in_quotes(proposed.field->path) + " was proposed for another place");
  return false;
}

std::string ProposedLayout::key_hole(std::string place, Confidence confidence, std::string reason) {
  taken_.insert("id");
  said_.insert(FieldId::id);
  std::string hole = "{" + decide_if_low(confidence) + "each record.id}";
  tell(std::move(place), hole, std::move(reason), confidence);
  return hole;
}

// Columns whose names differ only in signs or capitals have a table each.
std::string ProposedLayout::new_table(std::string_view column) {
  auto name = plain(column);
  if (name.empty()) name = "words";
  const auto base = name;
  for (int number = 2; draft_.files.contains(name + ".csv"); ++number) name = base + std::to_string(number);
  draft_.files[name + ".csv"];
  return name;
}

// Makes the table of words, where the field is coded.
std::string ProposedLayout::hole_of(Proposal& proposed, std::string_view way, const std::string& name,
                                    const Cells& cells) {
  const Field& field = *proposed.field;
  said_.insert(field.id);
  std::string hole = "{" + decide_if_low(proposed.confidence) + std::string(way);
  if (cells.with_comma && cells.all_numbers) hole += " as decimal-comma";
  if (field.kind == Kind::time) hole += " as local";
  if (field.kind == Kind::code || field.kind == Kind::word) {
    const auto table = new_table(name);
    hole += " by " + table;
    if (const auto* domain = terms_.domain(field.argument))
      draft_.files[table + ".csv"] = words_table(name, cells, *domain);
    if (cells.too_many())
      proposed.reason +=
          "; more than " + std::to_string(Cells::most) + " different cells, the table has the first";
  }
  return hole + "}";
}

std::string ProposedLayout::hole(Proposal proposed, const std::string& place, std::string_view way,
                                 const std::string& name, const Cells& cells, std::string_view unit) {
  std::string whole(way);
  if (proposed.field->kind == Kind::quantity) {
    proposed.reason += unit.empty() ? "; the unit is not said" : "; the name says the unit";
    whole += " in " + std::string(unit.empty() ? declare_mark : unit);
  }
  auto made = hole_of(proposed, whole, name, cells);
  tell(place, made, std::move(proposed.reason), proposed.confidence);
  return made;
}

ProposedLayout::WithUnit ProposedLayout::hole_with_unit(Proposal proposed, const std::string& place,
                                                        std::string_view way, const std::string& name,
                                                        const Cells& cells, const std::string& unit_name,
                                                        const Cells& units) {
  auto& known = units_[unit_name];
  if (known.table.empty()) known.table = new_table(unit_name);
  for (const auto& one : units.different) known.cells.add(one);
  proposed.reason += "; the unit stands beside it";
  const std::string whole(way);
  WithUnit made = {hole_of(proposed, whole + ".value", name, cells),
                   "{" + whole + ".unit by " + known.table + "}"};
  tell(place, made.value, std::move(proposed.reason), proposed.confidence);
  return made;
}

void ProposedLayout::add_field(const Proposal& proposed, const std::string& place, const std::string& name,
                               const Cells& cells, std::string_view unit, std::string_view way,
                               DraftJson& holes) {
  if (proposed.field == nullptr) return leave_out(place, "no field of this name");
  const std::string path(proposed.field->path);
  if (!can_stand_in_template(name))
    return leave_out(place, in_quotes(path) + ", but a template cannot have this name");
  if (take(proposed, place)) holes[name] = hole(proposed, place, std::string(way) + path, name, cells, unit);
}

DraftJson ProposedLayout::beginning(std::string_view syntax) {
  return {{"what", declare(" who sends this, and how")}, {"syntax", syntax}};
}

// Required in a record, or in a group that something was proposed for.
bool ProposedLayout::is_needed(const Field& field) const {
  if (field.is_group() || field.id == FieldId::format || field.occurs != record::Occurs::required ||
      said_.contains(field.id))
    return false;
  for (auto id = field.parent; id != FieldId::visit; id = record::field(id).parent) {
    const bool is_there =
        std::any_of(said_.begin(), said_.end(), [&](FieldId one) { return record::field(one).parent == id; });
    if (record::field(id).occurs != record::Occurs::required && !is_there) return false;
  }
  return true;
}

Draft ProposedLayout::finished(DraftJson set, DraftJson frames, DraftJson holes) && {
  for (const auto& [name, units] : units_)
    draft_.files[units.table + ".csv"] = units_table(name, units.cells);
  set["times"] = {
      {"local",
       {{"pattern", {declare(", such as DD.MM.YYYY hh:mm")}}, {"zone", declare(", such as Europe/Berlin")}}}};
  DraftJson given = DraftJson::object();
  if (!taken_.contains("source.system")) given["source.system"] = declare(" a URI of the source");
  if (!taken_.contains("patient.system")) given["patient.system"] = declare(" a URI of its patient numbers");
  for (const auto& field : record::dictionary()) {
    if (!is_needed(field)) continue;
    draft_.missing.emplace_back(field.path);
    given[std::string(field.path)] =
        declare(", or give it a place in the template: " + std::string(field.meaning));
  }
  if (!given.empty()) set["given"] = std::move(given);
  set["others"] = declare(" why the other fields do not travel");
  if (!frames.empty()) set["frames"] = std::move(frames);
  set["template"] = std::move(holes);
  draft_.files["set.json"] = set.dump(2) + "\n";
  return std::move(draft_);
}

}  // namespace charpie::flow
