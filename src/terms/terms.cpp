// Loads the code tables and proves them: a broken table is refused with its file, line and what to do.
#include "terms/terms.hpp"

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include "syntax/csv.hpp"

namespace charpie::terms {

namespace {

using syntax::CsvTable;

// What each status of a row allows.
struct StatusRule {
  std::string_view name;
  bool may_be_sent;
  bool has_code;
};
constexpr std::array<StatusRule, 5> status_rules = {{{"two-sources", true, true},
                                                     {"one-source", true, true},
                                                     {"inactive", false, true},
                                                     {"conflict", false, true},
                                                     {"own", true, false}}};

struct DirectionName {
  std::string_view name;
  Direction direction;
};
constexpr std::array<DirectionName, 3> direction_names = {
    {{"both", Direction::both}, {"out", Direction::out}, {"in", Direction::in}}};

// Code systems whose codes carry a check digit, by short name.
struct CheckedSystem {
  std::string_view short_name;
  bool (*holds)(std::string_view);
  std::string_view rule;
};
constexpr std::array<CheckedSystem, 2> checked_systems = {
    {{"loinc", loinc_check_digit, "LOINC's Mod 10"}, {"sct", sct_check_digit, "SNOMED CT's Verhoeff"}}};

// The domains that coded fields of the dictionary answer from, and two that the mapping itself answers from.
struct NeededDomain {
  std::string_view kind, name;
};
constexpr NeededDomain needed_domains[] = {
#define FIELD(token, parent, name, kind, argument, occurs, empties, meaning) {#kind, argument},
#include "record/dictionary.def"
#undef FIELD
    {"code", "clock-position"},
    {"code", "absent-reason"},
    {"code", "list-none"},
};

template <class Rows>
const auto* named(const Rows& rows, std::string_view name) {
  const auto at = std::find_if(rows.begin(), rows.end(), [&](const auto& row) { return row.name == name; });
  return at == rows.end() ? nullptr : &*at;
}

Error broken(std::string path, std::size_t line, std::string message, std::string mend) {
  return {Error::mapping_broken, std::move(message), std::move(path), line, 0, std::move(mend)};
}

std::string quoted(std::string_view text) {
  return "'" + std::string(text) + "'";
}

// One file being read: its columns by position, and errors that name the place.
class Sheet {
 public:
  static Result<Sheet> open(const Tables& tables, const std::string& path,
                            std::span<const std::string_view> columns) {
    const std::string_view* text = tables.find(path);
    if (text == nullptr) {
      return broken(path, 0, "the table is missing", "put it back below mappings/");
    }
    auto table = syntax::read_csv_table(*text, path);
    if (!table) {
      Error error = table.error();
      error.kind = Error::mapping_broken;
      return error;
    }
    Sheet sheet;
    sheet.path_ = path;
    sheet.table_ = std::move(*table);
    for (const auto column : columns) {
      sheet.at_.push_back(sheet.table_.column(column));
      if (sheet.at_.back() == CsvTable::none) {
        return broken(path, 1, "the table has no column " + quoted(column),
                      "add the column to the header and a cell to every row");
      }
    }
    return sheet;
  }

  std::vector<CsvTable::Row>& rows() { return table_.rows; }
  std::string& cell(CsvTable::Row& row, std::size_t column) const { return row.cells[at_[column]]; }
  Error error(const CsvTable::Row& row, std::string message, std::string mend) const {
    return broken(path_, row.line, std::move(message), std::move(mend));
  }

 private:
  std::string path_;
  CsvTable table_;
  std::vector<std::size_t> at_;
};

// A FHIR code that needs no quoting anywhere. Words of the trade are in lower case; questions follow the
// field names.
bool is_word(std::string_view text) {
  if (text.empty() || text.front() == '-' || text.back() == '-') return false;
  return std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '.';
  });
}

// The check digit of a code of that system, where it has one.
std::optional<Error> check_digit_error(const Sheet& sheet, const CsvTable::Row& row,
                                       std::string_view short_name, std::string_view code) {
  for (const auto& checked : checked_systems) {
    if (checked.short_name != short_name || checked.holds(code)) continue;
    return sheet.error(row,
                       "the code " + quoted(code) + " fails " + std::string(checked.rule) + " check digit",
                       "compare the code with its source");
  }
  return std::nullopt;
}

Error unknown_system(const Sheet& sheet, const CsvTable::Row& row, std::string_view short_name) {
  return sheet.error(row, "the system " + quoted(short_name) + " is not in codes/systems.csv",
                     "use a short name of that table or add a row there");
}

Error unknown_status(const Sheet& sheet, const CsvTable::Row& row, std::string_view status) {
  return sheet.error(row, "the status " + quoted(status) + " is unknown",
                     "use two-sources, one-source, inactive, conflict or own");
}

}  // namespace

std::string_view direction_name(Direction direction) {
  for (const auto& row : direction_names) {
    if (row.direction == direction) return row.name;
  }
  return {};
}

const Concept* Domain::find(std::string_view word) const {
  const auto at = by_word_.find(word);
  return at == by_word_.end() ? nullptr : &concepts[at->second];
}

const Concept* Domain::meaning(std::string_view of_system, std::string_view code) const {
  if (of_system == system) return find(code);
  for (auto [at, end] = by_code_.equal_range(code); at != end; ++at) {
    const Link& link = links[at->second];
    if (link.system == of_system) return &concepts[link.index];
  }
  return nullptr;
}

const Concept* Domain::meaning(const record::Code& code) const {
  return code.word.empty() ? meaning(code.foreign.system, code.foreign.code) : find(code.word);
}

const CodeSystem* Terms::system(std::string_view short_name) const {
  const auto at = std::find_if(systems_.begin(), systems_.end(),
                               [&](const CodeSystem& row) { return row.short_name == short_name; });
  return at == systems_.end() ? nullptr : &*at;
}

const Domain* Terms::domain(std::string_view name) const {
  // Sorted by name, because the tables come in path order.
  const auto at =
      std::lower_bound(domains_.begin(), domains_.end(), name,
                       [](const Domain& domain, std::string_view wanted) { return domain.name < wanted; });
  return at == domains_.end() || at->name != name ? nullptr : &*at;
}

const StandardCode* Terms::standard(std::string_view system, std::string_view code) const {
  const auto at = standards_.find(std::string(system) + "|" + std::string(code));
  return at == standards_.end() ? nullptr : &at->second;
}

// Reads the tables of one load; the Terms under construction are its result.
class TermsLoader {
 public:
  explicit TermsLoader(const Tables& tables) : tables_(tables) {}

  Result<Terms> load() {
    if (auto done = load_systems(); !done) return done.error();
    if (auto done = load_standards(); !done) return done.error();
    for (const auto& file : tables_.below("codes/")) {
      const std::string path(file.path);
      if (path == systems_path || path == standards_path || !path.ends_with(".csv")) continue;
      auto domain = load_domain(path);
      if (!domain) return domain.error();
      terms_.domains_.push_back(std::move(*domain));
    }
    std::sort(terms_.domains_.begin(), terms_.domains_.end(),
              [](const Domain& a, const Domain& b) { return a.name < b.name; });
    for (const auto& needed : needed_domains) {
      if ((needed.kind != "code" && needed.kind != "word") || terms_.domain(needed.name) != nullptr) continue;
      return broken("codes/" + std::string(needed.name) + ".csv", 0,
                    "the domain " + quoted(needed.name) + " of the dictionary has no table", "add the table");
    }
    return std::move(terms_);
  }

 private:
  static constexpr std::string_view systems_path = "codes/systems.csv";
  static constexpr std::string_view standards_path = "codes/standard.csv";
  static constexpr std::array<std::string_view, 8> domain_columns = {
      "word", "display", "system", "code", "standard", "direction", "status", "source"};
  // clang-format off
  enum { word_column, display_column, system_column, code_column,
         standard_column, direction_column, status_column, source_column };
  // clang-format on

  Outcome load_systems() {
    static constexpr std::array<std::string_view, 6> columns = {"short",   "uri",  "name",
                                                                "version", "note", "notice"};
    auto sheet = Sheet::open(tables_, std::string(systems_path), columns);
    if (!sheet) return sheet.error();
    for (auto& row : sheet->rows()) {
      CodeSystem system{sheet->cell(row, 0), sheet->cell(row, 1), sheet->cell(row, 2),
                        sheet->cell(row, 3), sheet->cell(row, 4), sheet->cell(row, 5)};
      if (system.short_name.empty() || system.uri.empty()) {
        return sheet->error(row, "a code system needs a short name and a URI", "fill both cells");
      }
      if (terms_.system(system.short_name) != nullptr) {
        return sheet->error(row, "the short name " + quoted(system.short_name) + " stands twice",
                            "remove one row");
      }
      terms_.systems_.push_back(std::move(system));
    }
    const CodeSystem* own = terms_.system("canonical");
    if (own == nullptr) {
      return broken(std::string(systems_path), 0, "no row 'canonical'",
                    "add it with the base of your own canonical URIs");
    }
    terms_.canonical_ = own->uri;
    return std::monostate{};
  }

  Outcome load_standards() {
    static constexpr std::array<std::string_view, 6> columns = {"system", "code",   "display",
                                                                "use",    "status", "source"};
    auto sheet = Sheet::open(tables_, std::string(standards_path), columns);
    if (!sheet) return sheet.error();
    for (auto& row : sheet->rows()) {
      const std::string& short_name = sheet->cell(row, 0);
      const CodeSystem* system = terms_.system(short_name);
      if (system == nullptr) return unknown_system(*sheet, row, short_name);
      StandardCode code{system->uri,         sheet->cell(row, 1), sheet->cell(row, 2),
                        sheet->cell(row, 3), sheet->cell(row, 4), sheet->cell(row, 5)};
      if (auto error = check_digit_error(*sheet, row, short_name, code.code)) return *error;
      const StatusRule* status = named(status_rules, code.status);
      if (status == nullptr) return unknown_status(*sheet, row, code.status);
      if (!status->may_be_sent && code.use != "input") {
        return sheet->error(row, "a code of status " + quoted(code.status) + " cannot be sent",
                            "give it the use 'input', or verify it and change the status");
      }
      std::string key = short_name + "|" + code.code;
      if (!terms_.standards_.try_emplace(key, std::move(code)).second) {
        return sheet->error(row, "the code " + quoted(key) + " stands twice", "remove one row");
      }
    }
    return std::monostate{};
  }

  Result<Domain> load_domain(const std::string& path) {
    auto sheet = Sheet::open(tables_, path, domain_columns);
    if (!sheet) return sheet.error();
    Domain domain;
    domain.name = path.substr(std::string_view("codes/").size());
    domain.name.resize(domain.name.size() - std::string_view(".csv").size());
    domain.system = terms_.canonical_ + "/CodeSystem/" + domain.name;
    // A row adds at most one concept and one link: with the room reserved, the views of the indexes stay
    // good.
    domain.concepts.reserve(sheet->rows().size());
    domain.links.reserve(sheet->rows().size());
    std::vector<std::size_t>
        sent_at;  // per concept the line of its row that is sent; 0: only `in` rows so far
    for (auto& row : sheet->rows()) {
      if (auto done = add_row(domain, sent_at, *sheet, row); !done) return done.error();
    }
    for (const auto& entry : domain.concepts) {
      if (sent_at[entry.index] != 0) continue;
      return broken(path, 0, "the word " + quoted(entry.word) + " has only rows of direction in",
                    "add a row for the word itself, of status own if no code can be sent");
    }
    return domain;
  }

  // What a row may do, once its own cells hold together.
  struct RowRules {
    Direction direction;
    bool has_code;
    bool sends() const { return direction != Direction::in; }
  };

  static Result<RowRules> row_rules(const Sheet& sheet, CsvTable::Row& row) {
    const std::string& word = sheet.cell(row, word_column);
    if (!is_word(word)) {
      return sheet.error(row, "the word " + quoted(word) + " is not a plain code",
                         "use letters, digits, hyphen and point");
    }
    const auto* direction = named(direction_names, sheet.cell(row, direction_column));
    if (direction == nullptr) {
      return sheet.error(row, "the direction " + quoted(sheet.cell(row, direction_column)) + " is unknown",
                         "use both, out or in");
    }
    const StatusRule* status = named(status_rules, sheet.cell(row, status_column));
    if (status == nullptr) return unknown_status(sheet, row, sheet.cell(row, status_column));
    if (!status->may_be_sent && direction->direction != Direction::in) {
      return sheet.error(row, "a code of status " + quoted(status->name) + " cannot be sent",
                         "give the row the direction in, or verify the code and change the status");
    }
    const bool empty_system = sheet.cell(row, system_column).empty();
    const bool empty_code = sheet.cell(row, code_column).empty();
    if (status->has_code && (empty_system || empty_code)) {
      return sheet.error(row, "the row names no standard code",
                         "fill system and code, or give the word the status own");
    }
    if (!status->has_code && !(empty_system && empty_code)) {
      return sheet.error(row, "a row of status 'own' names a standard code",
                         "empty system and code, or give the row the status of its source");
    }
    if (!status->has_code && direction->direction != Direction::both) {
      return sheet.error(row, "a word without a standard code has the direction both",
                         "change the direction");
    }
    return RowRules{direction->direction, status->has_code};
  }

  Outcome add_row(Domain& domain, std::vector<std::size_t>& sent_at, Sheet& sheet, CsvTable::Row& row) const {
    const auto rules = row_rules(sheet, row);
    if (!rules) return rules.error();
    std::string& word = sheet.cell(row, word_column);
    auto known = domain.by_word_.find(word);
    if (known == domain.by_word_.end()) {
      const auto index = static_cast<std::uint32_t>(domain.concepts.size());
      domain.concepts.push_back(
          {std::move(word), std::move(sheet.cell(row, display_column)), {}, {}, {}, index, {}});
      known = domain.by_word_.emplace(domain.concepts.back().word, index).first;
      sent_at.push_back(0);
    }
    Concept& entry = domain.concepts[known->second];
    if (rules->sends()) {
      const auto first = std::exchange(sent_at[entry.index], row.line);
      if (first != 0) {
        return sheet.error(
            row, "the word " + quoted(entry.word) + " stands twice, first in line " + std::to_string(first),
            "keep one row that is sent; further codes of a word have the direction in");
      }
    }
    if (!rules->has_code) {
      entry.source = std::move(sheet.cell(row, source_column));
      return std::monostate{};
    }
    const std::string& short_name = sheet.cell(row, system_column);
    std::string& code = sheet.cell(row, code_column);
    const CodeSystem* system = terms_.system(short_name);
    if (system == nullptr) return unknown_system(sheet, row, short_name);
    if (auto error = check_digit_error(sheet, row, short_name, code)) return *error;
    const bool is_read = rules->direction != Direction::out;
    if (const Concept* other = is_read ? domain.meaning(system->uri, code) : nullptr) {
      return sheet.error(
          row,
          "the code " + quoted(code) + " is read as " + quoted(other->word) + " and as " + quoted(entry.word),
          "keep it at one word; a broader code may be sent beside others with the direction out");
    }
    domain.links.push_back({entry.index, rules->direction, system->uri, std::move(code),
                            std::move(sheet.cell(row, standard_column)),
                            std::move(sheet.cell(row, status_column)),
                            std::move(sheet.cell(row, source_column))});
    const Link& link = domain.links.back();
    if (is_read) domain.by_code_.emplace(link.code, static_cast<std::uint32_t>(domain.links.size() - 1));
    if (rules->sends()) {
      entry.system = link.system;
      entry.code = link.code;
      entry.standard = link.standard;
      entry.source = link.source;
    }
    return std::monostate{};
  }

  const Tables& tables_;
  Terms terms_;
};

Result<Terms> Terms::load(const Tables& tables) {
  return TermsLoader(tables).load();
}

}  // namespace charpie::terms
