// Reads mappings/rules/*.csv and a site's own rows, and proves that every limit and every set of words is
// there.
#include <algorithm>
#include <charconv>
#include <optional>

#include "record/nearest.hpp"
#include "rules/rules.hpp"
#include "syntax/csv.hpp"
#include "units/dimension.hpp"

namespace charpie::rules {

using record::FieldId;
using record::FindingId;
using record::Severity;
using syntax::CsvTable;

namespace {

struct LimitRow {
  std::string_view slug, setting, unit;
};
constexpr LimitRow limit_rows[] = {
#define LIMIT(token, slug, setting, unit) {slug, setting, unit},
#include "rules/limits.def"
#undef LIMIT
};

struct SetRow {
  std::string_view name, domain;
};
constexpr SetRow set_rows[] = {
#define WORD_SET(token, name, domain) {name, domain},
#include "rules/sets.def"
#undef WORD_SET
};

// Settings that are kept by a word of a domain: slug in rules.csv, domain.
constexpr std::string_view times_slug = "due.times";
constexpr std::string_view pain_slug = "pain.out-of-scale";

struct SeverityName {
  std::string_view name;
  Severity severity;
};
constexpr SeverityName severities[] = {
    {"information", Severity::information}, {"warning", Severity::warning}, {"error", Severity::error}};

std::vector<std::string> parts(std::string_view text, char between) {
  std::vector<std::string> out;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t end = std::min(text.find(between, at), text.size());
    if (end > at) out.emplace_back(text.substr(at, end - at));
    at = end + 1;
  }
  return out;
}

std::optional<int> whole_number(std::string_view text) {
  int value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

template <class Names>
std::string nearest(std::string_view wanted, const Names& names) {
  std::string best;
  std::size_t least = wanted.size();
  for (const auto& name : names) {
    const std::size_t distance = record::edit_distance(name, wanted);
    if (distance < least) {
      least = distance;
      best = name;
    }
  }
  return best.empty() ? best : "perhaps meant: " + best;
}

bool is_word_character(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || (c & 0x80) != 0;
}

char small(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

// Whether the words (small letters) stand in the text as whole words.
bool has_words(std::string_view text, std::string_view words) {
  if (words.empty() || text.size() < words.size()) return false;
  for (std::size_t at = 0; at + words.size() <= text.size(); ++at) {
    if (at > 0 && is_word_character(text[at - 1])) continue;
    const std::size_t end = at + words.size();
    if (end < text.size() && is_word_character(text[end])) continue;
    if (std::equal(words.begin(), words.end(), text.begin() + static_cast<std::ptrdiff_t>(at),
                   [](char wanted, char c) { return wanted == small(c); })) {
      return true;
    }
  }
  return false;
}

}  // namespace

class RuleLoader {
 public:
  RuleLoader(const Tables& tables, const terms::Terms& terms, const units::Units& units) : tables_(tables) {
    book_.terms_ = &terms;
    book_.units_ = &units;
  }

  Result<RuleBook> load(std::string_view site_rules, std::string_view site_file) {
    for (const auto& kind : record::finding_kinds()) {
      book_.grades_.push_back({kind.severity, kind.blocks, true});
      slugs_.push_back(kind.slug);
    }
    slugs_.push_back(times_slug);
    for (const auto& shape : record::dictionary()) {
      const bool coded = shape.kind == record::Kind::code || shape.kind == record::Kind::word;
      book_.domains_[static_cast<std::size_t>(shape.id)] =
          coded ? book_.terms().domain(shape.argument) : nullptr;
    }
    for (auto step : {&RuleLoader::read_words, &RuleLoader::read_slots, &RuleLoader::read_usual_units,
                      &RuleLoader::read_objects, &RuleLoader::read_questions, &RuleLoader::read_rules}) {
      if (auto done = (this->*step)(); !done) return done.error();
    }
    for (std::size_t i = 0; i < std::size(limit_rows); ++i) {
      if (book_.limits_[i].text.empty()) {
        return Error{Error::mapping_broken,
                     "the limit " + std::string(limit_rows[i].slug) + "," +
                         std::string(limit_rows[i].setting) + " is missing",
                     rules_path,
                     0,
                     0,
                     "put its row back"};
      }
    }
    if (!site_rules.empty()) {
      auto table = syntax::read_csv_table(site_rules, site_file);
      if (!table) {
        auto error = table.error();
        error.kind = Error::usage;
        return error;
      }
      if (auto done = take_rules(*table, std::string(site_file), Error::usage); !done) return done.error();
    }
    return std::move(book_);
  }

 private:
  static constexpr const char* rules_path = "rules/rules.csv";

  static Error broken(Error::Kind kind, const std::string& file, std::size_t line, std::string message,
                      std::string mend) {
    return {kind, std::move(message), file, line, 0, std::move(mend)};
  }

  Result<CsvTable> open(const std::string& path, std::initializer_list<std::string_view> columns) const {
    const std::string_view* text = tables_.find(path);
    if (text == nullptr)
      return broken(Error::mapping_broken, path, 0, "the table is missing", "put it back below mappings/");
    auto table = syntax::read_csv_table(*text, path);
    if (!table) {
      auto error = table.error();
      error.kind = Error::mapping_broken;
      return error;
    }
    for (const auto column : columns) {
      if (table->column(column) == CsvTable::none) {
        return broken(Error::mapping_broken, path, 1, "the column '" + std::string(column) + "' is missing",
                      "put it back");
      }
    }
    return table;
  }

  Outcome read_words() {
    const std::string path = "rules/words.csv";
    auto table = open(path, {"set", "word"});
    if (!table) return table.error();
    std::vector<const terms::Domain*> domains;
    std::vector<int> counts(std::size(set_rows), 0);
    for (std::size_t i = 0; i < std::size(set_rows); ++i) {
      const auto* domain = book_.terms().domain(set_rows[i].domain);
      if (domain == nullptr) {
        return broken(Error::mapping_broken, path, 0,
                      "there is no domain '" + std::string(set_rows[i].domain) + "'", "put its table back");
      }
      domains.push_back(domain);
      book_.places_[i].assign(domain->concepts.size(), 0);
    }
    for (const auto& row : table->rows) {
      const auto name = table->cell(row, "set");
      const auto set = std::find_if(std::begin(set_rows), std::end(set_rows),
                                    [&](const SetRow& one) { return one.name == name; });
      if (set == std::end(set_rows)) {
        std::vector<std::string_view> names;
        for (const auto& one : set_rows) names.push_back(one.name);
        return broken(Error::mapping_broken, path, row.line,
                      "no rule asks for the set '" + std::string(name) + "'", nearest(name, names));
      }
      const auto i = static_cast<std::size_t>(set - std::begin(set_rows));
      const auto word = table->cell(row, "word");
      const auto* meant = domains[i]->find(word);
      if (meant == nullptr) {
        std::vector<std::string_view> names;
        for (const auto& one : domains[i]->concepts) names.push_back(one.word);
        return broken(Error::mapping_broken, path, row.line,
                      "'" + std::string(word) + "' is not a word of " + domains[i]->name,
                      nearest(word, names));
      }
      book_.places_[i][meant->index] = ++counts[i];
    }
    for (std::size_t i = 0; i < counts.size(); ++i) {
      if (counts[i] == 0) {
        return broken(Error::mapping_broken, path, 0,
                      "the set '" + std::string(set_rows[i].name) + "' has no word", "put its rows back");
      }
    }
    return std::monostate{};
  }

  Outcome read_slots() {
    const std::string path = "rules/slots.csv";
    auto table = open(path, {"slot", "kind", "days"});
    if (!table) return table.error();
    const auto* domain = book_.terms().domain("slot");
    const auto* scales = book_.terms().domain("pain-scale");
    if (domain == nullptr || scales == nullptr) {
      return broken(Error::mapping_broken, path, 0, "the domains slot and pain-scale are needed",
                    "put their tables back");
    }
    book_.pain_most_.resize(scales->concepts.size());
    book_.slots_.resize(domain->concepts.size());
    std::vector<bool> seen(domain->concepts.size(), false);
    for (const auto& row : table->rows) {
      const auto word = table->cell(row, "slot");
      const auto* meant = domain->find(word);
      const auto kind = table->cell(row, "kind");
      const auto days = parts(table->cell(row, "days"), ' ');
      Slot slot;
      bool good = meant != nullptr && !seen[meant->index];
      if (kind == "days") {
        slot.by_weekday = true;
        for (const auto& day : days) {
          const auto number = whole_number(day);
          good = good && number && *number >= 1 && *number <= 7;
          slot.weekdays.push_back(number.value_or(1));
        }
        good = good && !days.empty();
      } else {
        const int number = days.size() == 2 ? whole_number(days[0]).value_or(0) : 0;
        good = good && kind == "step" && number >= 1 && (days[1] == "d" || days[1] == "mo");
        if (good) {
          slot.step = number;
          slot.step_in_months = days[1] == "mo";
        }
      }
      if (!good) {
        return broken(Error::mapping_broken, path, row.line,
                      "the row of '" + std::string(word) + "' is not understood",
                      "write a word of slot once, with step,N d or step,N mo or days,1 3 5");
      }
      seen[meant->index] = true;
      book_.slots_[meant->index] = std::move(slot);
    }
    if (const auto missing = std::find(seen.begin(), seen.end(), false); missing != seen.end()) {
      return broken(Error::mapping_broken, path, 0,
                    "the slot '" + domain->concepts[static_cast<std::size_t>(missing - seen.begin())].word +
                        "' has no row",
                    "add it");
    }
    return std::monostate{};
  }

  Outcome read_usual_units() {
    const std::string path = "rules/usual_units.csv";
    auto table = open(path, {"dimension", "unit"});
    if (!table) return table.error();
    for (const auto& row : table->rows) {
      std::string dimension(table->cell(row, "dimension")), unit(table->cell(row, "unit"));
      if (!book_.units().measures(unit, dimension)) {
        return broken(Error::mapping_broken, path, row.line, "'" + unit + "' does not measure " + dimension,
                      "correct the row");
      }
      book_.usual_.emplace_back(std::move(dimension), std::move(unit));
    }
    return std::monostate{};
  }

  Outcome read_objects() {
    const std::string path = "rules/objects.csv";
    auto table = open(path, {"words", "thing", "diameter_mm", "source"});
    if (!table) return table.error();
    for (const auto& row : table->rows) {
      ComparedObject object{std::string(table->cell(row, "words")), std::string(table->cell(row, "thing")),
                            std::string(table->cell(row, "diameter_mm")),
                            std::string(table->cell(row, "source"))};
      if (object.words.empty() || object.thing.empty() ||
          (!object.diameter_mm.empty() && !is_decimal(object.diameter_mm))) {
        return broken(Error::mapping_broken, path, row.line, "the row is not understood",
                      "write words, a thing, and a decimal or nothing");
      }
      if (object.thing == "comparison") {
        book_.comparing_.push_back(std::move(object.words));
      } else {
        book_.objects_.push_back(std::move(object));
      }
    }
    return std::monostate{};
  }

  // What a field of the record already answers: standard questions and panels, and our own questions.
  Outcome read_questions() {
    for (const auto& [key, standard] : book_.terms().standards()) {
      if (standard.use == "question" || standard.use == "panel") {
        book_.questions_.emplace(standard.system + "|" + standard.code, standard.display);
      }
    }
    if (const auto* own = book_.terms().domain("question")) {
      for (const auto& one : own->concepts)
        book_.questions_.emplace(own->system + "|" + one.word, one.display);
    }
    return std::monostate{};
  }

  Outcome read_rules() {
    auto table = open(rules_path, {"slug", "setting", "value", "unit"});
    if (!table) return table.error();
    return take_rules(*table, rules_path, Error::mapping_broken);
  }

  Outcome take_rules(const CsvTable& table, const std::string& file, Error::Kind kind) {
    for (const auto column : {"slug", "setting", "value"}) {
      if (table.column(column) == CsvTable::none) {
        return broken(kind, file, 1, "the column '" + std::string(column) + "' is missing",
                      "the columns are slug,setting,value,unit,source");
      }
    }
    for (const auto& row : table.rows) {
      const auto slug = table.cell(row, "slug");
      const auto setting = table.cell(row, "setting");
      const auto value = table.cell(row, "value");
      const auto unit = table.cell(row, "unit");
      const auto id = record::find_finding(slug);
      if (id == FindingId::count && slug != times_slug) {
        return broken(kind, file, row.line, "there is no finding '" + std::string(slug) + "'",
                      nearest(slug, slugs_));
      }
      std::string reason;
      if (setting == "severity" || setting == "blocks" || setting == "report") {
        reason = id == FindingId::count
                     ? "this is no finding"
                     : take_grade(book_.grades_[static_cast<std::size_t>(id)], setting, value);
      } else {
        reason = take_setting(slug, setting, value, unit);
      }
      if (!reason.empty())
        return broken(kind, file, row.line, std::string(slug) + "," + std::string(setting) + ": " + reason,
                      "correct the row");
    }
    return std::monostate{};
  }

  static std::string take_grade(record::Grade& grade, std::string_view setting, std::string_view value) {
    if (setting == "severity") {
      const auto found = std::find_if(std::begin(severities), std::end(severities),
                                      [&](const SeverityName& one) { return one.name == value; });
      if (found == std::end(severities)) return "the severity is information, warning or error";
      grade.severity = found->severity;
      return {};
    }
    if (value != "yes" && value != "no") return "the value is yes or no";
    (setting == "blocks" ? grade.blocks : grade.reported) = value == "yes";
    return {};
  }

  std::string take_setting(std::string_view slug, std::string_view setting, std::string_view value,
                           std::string_view unit) {
    for (std::size_t i = 0; i < std::size(limit_rows); ++i) {
      if (limit_rows[i].slug == slug && limit_rows[i].setting == setting) return take_limit(i, value, unit);
    }
    if (slug == times_slug) return take_times(setting, value);
    if (slug == pain_slug) {
      const auto* scale = book_.terms().domain("pain-scale")->find(setting);
      if (scale == nullptr) return "there is no such pain scale";
      if (!is_decimal(value)) return "the largest score is a decimal number";
      book_.pain_most_[scale->index] = value;
      return {};
    }
    std::string known;
    for (const auto& row : limit_rows) {
      if (row.slug == slug) known.append(known.empty() ? "" : ", ").append(row.setting);
    }
    return "there is no such setting; there are severity, blocks, report" +
           (known.empty() ? "" : ", " + known);
  }

  std::string take_limit(std::size_t i, std::string_view value, std::string_view unit) {
    const auto wanted = limit_rows[i].unit;
    if (!is_decimal(value) || sign(Decimal(value)) < 0) return "the value is a decimal number, not below 0";
    std::string converted(value);
    if (wanted == "%" || wanted == "1") {
      if (unit != wanted && !unit.empty()) return "the unit is " + std::string(wanted);
    } else {
      auto result = book_.units().convert(value, unit, wanted);
      if (!result) return result.error().message;
      converted = result->text;
    }
    auto& limit = book_.limits_[i];
    limit.value = ExactDecimal(Decimal(converted));
    limit.text = value;
    limit.unit = unit.empty() ? wanted : unit;
    limit.whole = 0;
    std::from_chars(converted.data(), converted.data() + converted.size(), limit.whole);
    return {};
  }

  std::string take_times(std::string_view setting, std::string_view value) {
    const auto* meant = book_.terms().domain("slot")->find(setting);
    if (meant == nullptr) return "there is no such slot";
    auto times = parts(value, ' ');
    for (const auto& time : times) {
      if (!is_clocktime(time)) return "'" + time + "' is not a 24-hour time such as 08:00";
    }
    std::sort(times.begin(), times.end());
    book_.slots_[meant->index].times = std::move(times);
    return {};
  }

  const Tables& tables_;
  std::vector<std::string_view> slugs_;
  RuleBook book_;
};

Result<RuleBook> RuleBook::load(const Tables& tables, const terms::Terms& terms, const units::Units& units,
                                std::string_view site_rules, std::string_view site_file) {
  return RuleLoader(tables, terms, units).load(site_rules, site_file);
}

void RuleBook::grade(std::vector<record::Finding>& findings) const {
  std::erase_if(findings, [&](const record::Finding& one) {
    return !grades_[static_cast<std::size_t>(one.id)].reported;
  });
  for (auto& one : findings) {
    one.severity = grades_[static_cast<std::size_t>(one.id)].severity;
    one.blocks = grades_[static_cast<std::size_t>(one.id)].blocks;
  }
}

const terms::Concept* RuleBook::meaning(record::FieldId id, const record::Value* value) const {
  if (value == nullptr || value->code == nullptr) return nullptr;
  const auto* known = domain(id);
  return known == nullptr ? nullptr : known->meaning(*value->code);
}

const Slot* RuleBook::slot(const terms::Concept* meant) const {
  return meant == nullptr ? nullptr : &slots_[meant->index];
}

std::string_view RuleBook::pain_most(const terms::Concept* scale) const {
  return scale == nullptr ? std::string_view{} : pain_most_[scale->index];
}

const ComparedObject* RuleBook::compared(std::string_view text) const {
  if (text.empty()) return nullptr;
  if (std::none_of(comparing_.begin(), comparing_.end(),
                   [&](const auto& words) { return has_words(text, words); }))
    return nullptr;
  // The longest words win: "50 cent coin" is not just "coin".
  const ComparedObject* best = nullptr;
  for (const auto& object : objects_) {
    if ((best == nullptr || object.words.size() > best->words.size()) && has_words(text, object.words))
      best = &object;
  }
  return best;
}

bool RuleBook::usual(std::string_view dimensions, std::string_view unit) const {
  return std::any_of(usual_.begin(), usual_.end(), [&](const auto& row) {
    if (row.second != unit) return false;
    for (std::string_view rest = dimensions; !rest.empty();) {
      const std::size_t end = std::min(rest.find('|'), rest.size());
      if (rest.substr(0, end) == row.first) return true;
      rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    return false;
  });
}

std::string_view RuleBook::question(std::string_view system, std::string_view code) const {
  const auto found = questions_.find(std::string(system) + "|" + std::string(code));
  return found == questions_.end() ? std::string_view{} : std::string_view(found->second);
}

}  // namespace charpie::rules
