#include "flow/draft_tables.hpp"

#include <algorithm>

#include "flow/undecided.hpp"
#include "record/dictionary.hpp"

namespace charpie::flow {

using record::Field;
using record::Kind;

namespace {

constexpr auto no_column = SampleTable::no_column;

DraftJson beginning(const SampleTable& table) {
  auto set = ProposedLayout::beginning("csv");
  set["delimiter"] = std::string(1, table.delimiter);
  if (!table.is_utf8) set["encoding"] = std::string(declare_mark) + ", such as WINDOWS-1252: it is not UTF-8";
  return set;
}

Outcome key_stands(const SampleTable& table, std::size_t key) {
  if (can_stand_in_template(table.columns[key])) return std::monostate{};
  return Error{
      Error::invalid,
      "the column '" + table.columns[key] + "' names the visit, and a template cannot have that name",
      table.file,
      1,
      0,
      "name it without < > { } and $"};
}

std::vector<std::pair<std::string, Cells>> columns_of(const SampleTable& table) {
  std::vector<std::pair<std::string, Cells>> columns;
  for (std::size_t i = 0; i < table.columns.size(); ++i)
    columns.emplace_back(table.columns[i], table.cells(i));
  return columns;
}

// A file of the site, and the part of the layout that is made of it.
class FileDraft {
 public:
  /// `place` comes before the names of columns when they are told: which file it is, where there are several.
  FileDraft(const SampleTable& table, std::string place, ProposedLayout& layout)
      : table_(table), place_(std::move(place)), layout_(layout) {}

  /// A column that holds a field of the visit.
  void add_column(std::size_t i, std::string_view way, DraftJson& holes) {
    std::string name = table_.columns[i];
    const auto unit = unit_in_name(table_.columns[i], name);
    const auto cells = table_.cells(i);
    layout_.add_field(layout_.proposals().propose(name, cells, Place::visit), place_ + table_.columns[i],
                      table_.columns[i], cells, unit, way, holes);
  }

  /// The rows below the visit. `row` is what all have.
  DraftJson rows(const RowShape& shape, DraftJson row) {
    return shape.finding == no_column ? elements(shape, std::move(row)) : findings(shape, row);
  }

  // A list that the file is named after speaks against a mere count of cells.
  void prefer_list(RowShape& shape) const {
    if (shape.finding_confidence == Confidence::low && list().confidence == Confidence::medium)
      shape.finding = no_column;
  }

 private:
  Proposal list() const {
    return layout_.proposals().propose_list(table_.file.substr(0, table_.file.find_last_of('.')),
                                            columns_of(table_));
  }

  static bool is_common(const RowShape& shape, std::size_t i) {
    return i == shape.key || std::find(shape.common.begin(), shape.common.end(), i) != shape.common.end();
  }

  DraftJson elements(const RowShape& shape, DraftJson row) {
    const auto list = this->list();
    if (list.confidence != Confidence::medium && table_.count_different(shape.key) == table_.rows.size()) {
      layout_.tell(table_.file, "one row a visit, too", "no cell of its key stands twice",
                   Confidence::medium);
      for (std::size_t i = 0; i < table_.columns.size(); ++i) {
        if (!is_common(shape, i)) add_column(i, {}, row);
      }
      return DraftJson::array({std::move(row)});
    }
    if (list.field == nullptr) {
      layout_.leave_out(table_.file, "several rows a visit, and no list that they are elements of");
      return DraftJson::array({std::move(row)});
    }
    if (!layout_.take(list, table_.file)) return DraftJson::array({std::move(row)});
    const std::string name(list.field->path);
    layout_.tell(table_.file, "one row an element of " + in_quotes(name), list.reason, list.confidence);
    row["$for"] = decide_if_low(list.confidence) + name;
    std::set<std::string_view> members;
    for (std::size_t i = 0; i < table_.columns.size(); ++i) {
      if (is_common(shape, i)) continue;
      const auto& column = table_.columns[i];
      std::string rest = column;
      const auto unit = unit_in_name(column, rest);
      const auto cells = table_.cells(i);
      const auto proposed = layout_.proposals().propose_member(*list.field, rest, cells);
      if (proposed.field != nullptr && can_stand_in_template(column) &&
          members.insert(proposed.field->name).second)
        row[column] = layout_.hole(proposed, place_ + column, proposed.field->name, column, cells, unit);
      else
        layout_.leave_out(place_ + column, "no member of " + in_quotes(name) + " of this name");
    }
    return DraftJson::array({std::move(row)});
  }

  DraftJson findings(const RowShape& shape, const DraftJson& common) {
    const auto& finding = table_.columns[shape.finding];
    layout_.tell(place_ + finding, "names the finding of a row", shape.finding_reason,
                 shape.finding_confidence);
    layout_.tell(place_ + table_.columns[shape.answer], "holds the answer", shape.answer_reason,
                 shape.finding_confidence);
    DraftJson rows = DraftJson::array();
    std::vector<std::string> names;
    for (const auto& row : table_.rows) {
      if (std::find(names.begin(), names.end(), row[shape.finding]) == names.end())
        names.push_back(row[shape.finding]);
    }
    for (const auto& name : names) {
      auto row = finding_row(shape, name, common);
      if (!row.empty()) rows.push_back(std::move(row));
    }
    for (std::size_t i = 0; i < table_.columns.size(); ++i) {
      if (i != shape.finding && i != shape.answer && i != shape.unit && !is_common(shape, i))
        tell_beside(shape, i, names);
    }
    if (rows.empty()) rows.push_back(common);
    return rows;
  }

  // The row of the template for a finding; empty when nothing is proposed for it.
  DraftJson finding_row(const RowShape& shape, const std::string& name, const DraftJson& common) {
    const auto& finding = table_.columns[shape.finding];
    const auto& answer = table_.columns[shape.answer];
    const auto shown = place_ + finding + " " + in_quotes(name);
    std::string rest = name;
    const auto unit = unit_in_name(name, rest);
    const auto cells = table_.cells(shape.answer, shape.finding, name);
    const auto proposed = layout_.proposals().propose(rest, cells, Place::finding);
    if (proposed.field == nullptr || !can_stand_in_template(name)) {
      layout_.leave_out(
          shown, proposed.field == nullptr ? "no field of this name" : "a template cannot say this name");
      return {};
    }
    const Field& field = *proposed.field;
    if (!layout_.take(proposed, shown)) return {};
    DraftJson row = common;
    if (row.contains("$frame"))
      row["$with"] = {{"finding", name}};
    else
      row[finding] = name;
    std::string way(field.path);
    if (const Field* list = list_of(field)) {
      row["$for"] = list->path;
      if (list != &field) way = field.name;
    }
    const auto units = shape.unit == no_column ? Cells{} : table_.cells(shape.unit, shape.finding, name);
    if (field.kind == Kind::quantity && units.any()) {
      const auto& column = table_.columns[shape.unit];
      auto holes = layout_.hole_with_unit(proposed, shown, way, name, cells, column, units);
      row[answer] = std::move(holes.value);
      row[column] = std::move(holes.unit);
      return row;
    }
    row[answer] = layout_.hole(proposed, shown, way, name, cells, unit);
    if (units.different.size() == 1 && can_stand_in_template(units.different.front()))
      row[table_.columns[shape.unit]] = units.different.front();
    return row;
  }

  void tell_beside(const RowShape& shape, std::size_t i, const std::vector<std::string>& names) {
    std::string beside;
    std::size_t count = 0;
    for (const auto& name : names) {
      if (!table_.cells(i, shape.finding, name).any()) continue;
      if (++count <= 3) beside += (count == 1 ? "" : ", ") + in_quotes(name);
    }
    if (count > 3) beside += " and others";
    layout_.leave_out(
        place_ + table_.columns[i],
        count == 0 ? "it is empty" : "filled beside " + beside + ": put it into their rows of the template");
  }

  const SampleTable& table_;
  std::string place_;
  ProposedLayout& layout_;
};

}  // namespace

Draft draft_of_visits(const SampleTable& table, const terms::Terms& terms, Surest& surest) {
  ProposedLayout layout(terms, surest);
  FileDraft file(table, {}, layout);
  auto holes = DraftJson::object();
  for (std::size_t i = 0; i < table.columns.size(); ++i) file.add_column(i, {}, holes);
  return std::move(layout).finished(beginning(table), {}, std::move(holes));
}

Result<Draft> draft_of_rows(const SampleTable& table, RowShape shape, const terms::Terms& terms,
                            Surest& surest) {
  if (auto stands = key_stands(table, shape.key); !stands) return stands.error();
  ProposedLayout layout(terms, surest);
  FileDraft file(table, {}, layout);
  file.prefer_list(shape);
  const auto& key = table.columns[shape.key];
  auto set = beginning(table);
  set["key"] = {key};
  set["rows"] = "rows";
  set["columns"] = table.columns;
  auto row = DraftJson::object();
  row[key] = layout.key_hole(key, shape.key_confidence, shape.key_reason);
  for (const auto i : shape.common) file.add_column(i, "each record.", row);
  if (shape.finding != no_column) row[table.columns[shape.finding]] = "<finding>";
  auto rows = file.rows(shape, {{"$frame", "row"}});
  return std::move(layout).finished(std::move(set), {{"row", std::move(row)}}, {{"rows", std::move(rows)}});
}

Result<Draft> draft_of_files(std::span<const SampleTable> tables, const Join& join, const terms::Terms& terms,
                             Surest& surest) {
  for (std::size_t i = 0; i < tables.size(); ++i) {
    if (auto stands = key_stands(tables[i], join.keys[i]); !stands) return stands.error();
  }
  ProposedLayout layout(terms, surest);
  const auto& first = tables[join.first];
  const auto& key = first.columns[join.keys[join.first]];
  auto set = beginning(first);
  set["key"] = {key};
  auto named = DraftJson::object(), holes = DraftJson::object();
  // The first file comes first, whatever the order in which they were given.
  std::vector<std::size_t> order = {join.first};
  for (std::size_t i = 0; i < tables.size(); ++i) {
    if (i != join.first) order.push_back(i);
  }
  for (const auto number : order) {
    const auto& table = tables[number];
    const auto own_key = join.keys[number];
    auto name = table.file.substr(0, table.file.find_last_of('.'));
    if (!can_stand_in_template(name) || named.contains(name)) name = "table" + std::to_string(number + 1);
    DraftJson how = {{"file", table.file}};
    if (table.columns[own_key] != key) how["key"] = {table.columns[own_key]};
    how["columns"] = table.columns;
    named[name] = std::move(how);
    FileDraft file(table, table.file + " ", layout);
    if (number != join.first) {
      auto shape = rows_by_key(table, own_key);
      file.prefer_list(shape);
      shape.common.clear();  // the same by chance, or as in the first file
      holes[name] = file.rows(shape, {{table.columns[own_key], "{each record.id}"}});
      continue;
    }
    layout.tell(table.file, "one row a visit", join.reason, join.confidence);
    auto visit = DraftJson::object();
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      if (i == own_key)
        visit[key] = layout.key_hole(table.file + " " + key, join.confidence, "joins the files");
      else
        file.add_column(i, {}, visit);
    }
    holes[name] = std::move(visit);
  }
  set["tables"] = std::move(named);
  return std::move(layout).finished(std::move(set), {}, std::move(holes));
}

}  // namespace charpie::flow
