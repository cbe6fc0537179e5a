#include "flow/sample.hpp"

#include <algorithm>
#include <cctype>
#include <map>
#include <set>

#include "base/arena.hpp"
#include "base/decimal.hpp"
#include "base/utf8.hpp"
#include "syntax/csv_stream.hpp"

namespace charpie::flow {

namespace {

constexpr auto no_column = SampleTable::no_column;
constexpr std::size_t most_findings = 200;  // no chart asks more; more different cells are names or numbers

// What the headings of columns say that they hold, in small letters.
constexpr std::string_view visit_headings[] = {"visit",       "visitid", "visitno", "visitnr",
                                               "visitnumber", "record",  "recordid"};
constexpr std::string_view finding_headings[] = {"finding",   "question", "item",      "observation",
                                                 "parameter", "measure",  "variable",  "attribute",
                                                 "test",      "element",  "component", "field"};
constexpr std::string_view answer_headings[] = {"value", "answer", "result", "response"};
constexpr std::string_view unit_headings[] = {"unit", "units", "uom"};

bool is_one_of(std::string_view heading, std::span<const std::string_view> known) {
  return std::find(known.begin(), known.end(), plain(heading)) != known.end();
}

// Whether a word of the heading is one of these: of "Observation name", and of "observationName".
bool speaks_of(std::string_view heading, std::span<const std::string_view> known) {
  const auto is_small = [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); };
  const auto is_large = [](char c) { return c >= 'A' && c <= 'Z'; };
  for (std::size_t at = 0; at < heading.size();) {
    auto end = at + 1;
    while (end < heading.size() &&
           (is_small(heading[end]) || (is_large(heading[end]) && is_large(heading[end - 1]))))
      ++end;
    if (is_one_of(heading.substr(at, end - at), known)) return true;
    at = end;
  }
  return false;
}

bool names_answers(std::string_view heading) {
  return speaks_of(heading, answer_headings);
}

// "Observation name", but not "observation value".
bool names_findings(std::string_view heading) {
  return speaks_of(heading, finding_headings) && !names_answers(heading) &&
         !speaks_of(heading, unit_headings);
}

// Whether rows that agree in one column agree in the other.
bool decides(const SampleTable& table, std::size_t column, std::size_t other) {
  std::map<std::string_view, std::string_view> seen;
  return std::all_of(table.rows.begin(), table.rows.end(), [&](const auto& row) {
    return seen.emplace(row[column], row[other]).first->second == row[other];
  });
}

std::string counted(std::size_t count, std::string_view what) {
  return std::to_string(count) + " " + std::string(what);
}

}  // namespace

std::string_view confidence_name(Confidence confidence) {
  static constexpr std::string_view names[] = {"none", "low", "medium", "high"};
  return names[static_cast<std::size_t>(confidence)];
}

std::string in_quotes(std::string_view text) {
  return "'" + std::string(text) + "'";
}

std::string plain(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c >= 'A' && c <= 'Z') out += static_cast<char>(c - 'A' + 'a');
    if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9')) out += c;
  }
  return out;
}

std::string_view nearest_unit(std::string_view word) {
  static constexpr std::pair<std::string_view, std::string_view> units[] = {
      {"cm2", "cm2"},   {"cm", "cm"},       {"mm", "mm"},        {"ml", "mL"},
      {"in", "[in_i]"}, {"inch", "[in_i]"}, {"inches", "[in_i]"}};
  const auto said = plain(word);
  for (const auto& [known, unit] : units) {
    if (said == known) return unit;
  }
  return {};
}

std::string_view unit_of_word(std::string_view word) {
  const auto unit = nearest_unit(word);
  std::string own;
  for (const char c : word) {
    if (std::isalnum(static_cast<unsigned char>(c)) != 0) own += c;
  }
  return unit == "[in_i]" || own == unit || own == "ml" ? unit : std::string_view();
}

bool holds_units(std::string_view heading, const Cells& cells) {
  return is_one_of(heading, unit_headings) ||
         (cells.any() && std::all_of(cells.different.begin(), cells.different.end(), [](const auto& one) {
            return one == "%" || !nearest_unit(one).empty();
          }));
}

void Cells::add(std::string_view cell) {
  if (cell.empty()) return;
  std::string number(cell);
  std::replace(number.begin(), number.end(), ',', '.');
  all_numbers = all_numbers && is_decimal(number);
  with_comma = with_comma || cell.find(',') != std::string_view::npos;
  if (!too_many() && std::find(different.begin(), different.end(), cell) == different.end())
    different.emplace_back(cell);
}

Cells SampleTable::cells(std::size_t column, std::size_t finding, std::string_view name) const {
  Cells found;
  for (const auto& row : rows) {
    if (finding == no_column || row[finding] == name) found.add(row[column]);
  }
  return found;
}

bool SampleTable::is_filled(std::size_t column) const {
  return std::none_of(rows.begin(), rows.end(), [&](const auto& row) { return row[column].empty(); });
}

std::size_t SampleTable::count_different(std::size_t column) const {
  std::set<std::string_view> found;
  for (const auto& row : rows) found.insert(row[column]);
  return found.size();
}

Result<SampleTable> read_sample(const SampleFile& file) {
  SampleTable sample;
  sample.file = file.name;
  const std::string_view text = file.text;
  const auto header_line = text.substr(0, text.find('\n'));
  std::ptrdiff_t most = 0;
  for (const char sign : {',', ';', '\t', '|'}) {
    const auto count = std::count(header_line.begin(), header_line.end(), sign);
    if (count > most) {
      most = count;
      sample.delimiter = sign;
    }
  }
  syntax::CsvReading how;
  how.delimiter = sample.delimiter;
  // A byte-order mark of UTF-16 is for the reader to see.
  const bool is_utf16 = text.starts_with("\xFF\xFE") || text.starts_with("\xFE\xFF");
  sample.is_utf8 = is_utf16 || is_utf8(text);
  if (!sample.is_utf8) how.charset = "WINDOWS-1252";
  syntax::TextSource source(text);
  syntax::CsvRows rows(source, how);
  const auto refuse = [&](Error error) {
    error.file = file.name;
    return error;
  };
  auto header = rows.header();
  if (!header) return refuse(std::move(header.error()));
  sample.columns = std::move(header->columns);
  how.charset.clear();  // rows come in UTF-8
  syntax::JsonPiece piece;
  std::vector<syntax::CsvCell> cells;
  while (sample.rows.size() < SampleTable::most_rows && rows.next(piece)) {
    if (piece.error) return refuse(std::move(*piece.error));
    Arena arena;
    if (auto read = syntax::read_csv_cells(piece.bytes, how, arena, cells); !read) {
      read.error().line += piece.line - 1;
      return refuse(std::move(read.error()));
    }
    auto& row = sample.rows.emplace_back(sample.columns.size());
    for (std::size_t k = 0; k < cells.size() && k < row.size(); ++k) row[k] = cells[k].text;
  }
  return sample;
}

RowShape rows_by_key(const SampleTable& table, std::size_t key, Row row) {
  RowShape shape;
  shape.key = key;
  const auto visits = table.count_different(key);
  std::vector<std::size_t> rest;  // what tells rows of one visit apart
  for (std::size_t i = 0; i < table.columns.size(); ++i) {
    if (i == key) continue;
    (visits < table.rows.size() && table.is_filled(i) && decides(table, key, i) ? shape.common : rest)
        .push_back(i);
  }
  // The column that names findings: filled in every row, words, hardly one twice in a visit, the same again
  // in the next visit. Of several the one with the fewest different cells: the answers vary more.
  std::size_t fewest = table.rows.size();
  bool said = false;
  for (const auto i : rest) {
    const auto different = table.count_different(i);
    const bool named = names_findings(table.columns[i]);
    std::set<std::pair<std::string_view, std::string_view>> pairs;
    for (const auto& cells : table.rows) pairs.emplace(cells[key], cells[i]);
    const bool fits = table.is_filled(i) && different > 1 && different <= most_findings &&
                      pairs.size() * 10 >= table.rows.size() * 6 && pairs.size() >= visits * 2 &&
                      (visits == 1 || different < table.rows.size());
    const bool is_number_column = std::any_of(table.rows.begin(), table.rows.end(), [&](const auto& cells) {
      return is_decimal(std::string_view(cells[i]));
    });
    if (!fits || (is_number_column && !named) || names_answers(table.columns[i])) continue;
    if (named < said || (named == said && different >= fewest && shape.finding != no_column)) continue;
    said = named;
    fewest = different;
    shape.finding = i;
  }
  if (shape.finding == no_column) return shape;
  shape.finding_confidence = said || row == Row::finding ? Confidence::medium : Confidence::low;
  shape.finding_reason = counted(fewest, "different cells, hardly one twice in a visit") +
                         (said ? "; the heading says so, too" : "");
  bool is_likely = shape.finding_confidence == Confidence::medium;  // of words in every row alone it is not
  std::size_t best = 0;
  for (const auto i : rest) {
    if (i == shape.finding) continue;
    const auto cells = table.cells(i);
    if (holds_units(table.columns[i], cells)) {
      if (shape.unit == no_column) shape.unit = i;
      continue;
    }
    std::size_t filled = 0, numbers = 0;
    for (const auto& cells_of_row : table.rows) {
      filled += cells_of_row[i].empty() ? 0 : 1;
      numbers += is_decimal(std::string_view(cells_of_row[i])) ? 1 : 0;
    }
    const bool named = names_answers(table.columns[i]), mixed = numbers != 0 && numbers < filled;
    const auto weight = filled + (named ? 4 : 0) * table.rows.size() + (mixed ? 2 : 0) * table.rows.size();
    if (weight <= best) continue;
    best = weight;
    shape.answer = i;
    is_likely = is_likely || named || mixed;
    shape.answer_reason = "filled in " + std::to_string(filled) + " of " +
                          counted(table.rows.size(), "rows") + (mixed ? ", numbers beside words" : "") +
                          (named ? "; the heading says so, too" : "");
  }
  if (shape.answer == no_column || !is_likely) {
    shape.answer = no_column;
    shape.finding = no_column;
    shape.finding_confidence = Confidence::none;
  }
  return shape;
}

std::optional<RowShape> rows_of_visits(const SampleTable& table, Row row) {
  if (row == Row::visit || table.rows.empty()) return {};
  const auto rows = table.rows.size();
  const auto heading = std::find_if(table.columns.begin(), table.columns.end(), [&](const std::string& one) {
    const auto i = static_cast<std::size_t>(&one - table.columns.data());
    return is_one_of(one, visit_headings) && table.is_filled(i);
  });
  const bool said = heading != table.columns.end();
  RowShape shape;
  if (said) {
    const auto key = static_cast<std::size_t>(heading - table.columns.begin());
    if (row == Row::guess && table.count_different(key) == rows) return {};
    shape = rows_by_key(table, key, row);
    if (shape.finding == no_column && row == Row::finding) return {};
  } else {
    // The column that settles most others; of several the one that tells most visits apart. Rows of a key
    // that nobody names are rather visits of one patient, unless they name findings.
    struct Candidate {
      std::size_t settles, different, column;
    };
    std::vector<Candidate> candidates;
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      Candidate one{0, table.count_different(i), i};
      if (!table.is_filled(i) || one.different == rows) continue;
      for (std::size_t k = 0; k < table.columns.size(); ++k)
        one.settles += k != i && table.is_filled(k) && decides(table, i, k) ? 1 : 0;
      candidates.push_back(one);
    }
    std::stable_sort(candidates.begin(), candidates.end(), [](const Candidate& x, const Candidate& y) {
      return std::pair(x.settles, x.different) > std::pair(y.settles, y.different);
    });
    for (const auto& one : candidates) {
      shape = rows_by_key(table, one.column, row);
      if (shape.finding != no_column) break;
    }
    if (shape.finding == no_column) return {};
  }
  shape.key_confidence = said ? Confidence::medium : Confidence::low;
  shape.key_reason = counted(table.count_different(shape.key), "different cells in ") +
                     counted(rows, "rows") + "; with it " +
                     counted(shape.common.size(), "other columns stay the same") +
                     (said ? "; the heading says so, too" : "");
  return shape;
}

Result<Join> join(std::span<const SampleTable> tables) {
  Join best;
  std::pair<std::size_t, std::size_t> weight;  // columns of the same name; columns of the first file
  for (std::size_t first = 0; first < tables.size(); ++first) {
    const auto& table = tables[first];
    for (std::size_t column = 0; column < table.columns.size(); ++column) {
      if (table.rows.empty() || !table.is_filled(column) ||
          table.count_different(column) != table.rows.size())
        continue;
      std::set<std::string_view> keys;
      for (const auto& row : table.rows) keys.insert(row[column]);
      std::vector<std::size_t> found(tables.size(), no_column);
      found[first] = column;
      std::size_t same = 0, joined = 1;
      for (std::size_t other = 0; other < tables.size(); ++other) {
        if (other == first) continue;
        // The sample of one file may end before that of the other: half of the keys are enough.
        std::pair<bool, std::size_t> most;
        const bool is_empty = tables[other].rows.empty();  // then its heading is all there is
        for (std::size_t i = 0; i < tables[other].columns.size(); ++i) {
          std::set<std::string_view> theirs;
          for (const auto& row : tables[other].rows) theirs.insert(row[i]);
          const auto known = static_cast<std::size_t>(std::count_if(
              theirs.begin(), theirs.end(), [&](const auto& one) { return keys.contains(one); }));
          const bool named = plain(tables[other].columns[i]) == plain(table.columns[column]);
          if (is_empty ? !named : known == 0 || known * 2 < theirs.size() || !tables[other].is_filled(i))
            continue;
          if (found[other] != no_column && std::pair(named, known) <= most) continue;
          most = {named, known};
          found[other] = i;
        }
        same += most.first ? 1 : 0;
        joined += found[other] == no_column ? 0 : 1;
      }
      if (joined != tables.size() || (!best.keys.empty() && std::pair(same, table.columns.size()) <= weight))
        continue;
      weight = {same, table.columns.size()};
      best = {first, found, same + 1 == tables.size() ? Confidence::medium : Confidence::low,
              "no cell of '" + table.columns[column] + "' stands twice, and the other files have them"};
    }
  }
  if (best.keys.empty()) {
    return Error{
        Error::invalid,
        "no column joins these files: one that has each cell once in one of them, and its cells in all "
        "others",
        {},
        0,
        0,
        "draft from the files that belong together, one of them with one row a visit; or from one of them"};
  }
  return best;
}

}  // namespace charpie::flow
