#include "rules/page.hpp"

#include <algorithm>
#include <array>
#include <map>

#include "rules/report.hpp"
#include "syntax/csv.hpp"

namespace charpie::rules {

using record::FindingId;

namespace {

constexpr const char* reasons_path = "rules/reasons.csv";

struct LimitRow {
  Limit limit;
  std::string_view slug, setting;
};
constexpr LimitRow limit_rows[] = {
#define LIMIT(token, slug, setting, unit) {Limit::token, slug, setting},
#include "rules/limits.def"
#undef LIMIT
};

struct Reason {
  std::string why, source;
};

Result<std::map<std::string, Reason, std::less<>>> reasons(const Tables& tables) {
  const std::string_view* text = tables.find(reasons_path);
  if (text == nullptr)
    return Error{Error::mapping_broken,        "the table is missing", reasons_path, 0, 0,
                 "put it back below mappings/"};
  auto table = syntax::read_csv_table(*text, reasons_path);
  if (!table) return table.error();
  std::map<std::string, Reason, std::less<>> found;
  for (const auto& row : table->rows) {
    const std::string slug(table->cell(row, "slug"));
    Reason reason{std::string(table->cell(row, "why")), std::string(table->cell(row, "source"))};
    const bool good =
        record::find_finding(slug) != FindingId::count && !reason.why.empty() && !reason.source.empty();
    if (!good || !found.emplace(slug, std::move(reason)).second) {
      return Error{Error::mapping_broken,
                   "the row of '" + slug + "' is not understood",
                   reasons_path,
                   row.line,
                   0,
                   "name a finding once, with why and source"};
    }
  }
  return found;
}

// Braces of a message are the values seen.
std::string shown_message(std::string_view message) {
  std::string text;
  for (std::size_t at = 0; at < message.size(); ++at) {
    if (message.substr(at, 2) == "{}") {
      text += "…";
      ++at;
    } else if (message[at] == '<' || message[at] == '>' || message[at] == '*' || message[at] == '_') {
      text += '\\';
      text += message[at];
    } else {
      text += message[at];
    }
  }
  return text;
}

}  // namespace

bool is_rule(FindingId id) {
  // What the reader tells and a reviewer would: who, when, and values that cannot stand as they are.
  constexpr std::array told_by_reader = {FindingId::field_missing,     FindingId::time_form,
                                         FindingId::clocktime_form,    FindingId::clock_range,
                                         FindingId::percent_range,     FindingId::unit_missing,
                                         FindingId::code_unknown_word, FindingId::unit_not_ucum,
                                         FindingId::unit_dimension,    FindingId::unit_unusual};
  return (id >= FindingId::code_own_system && id <= FindingId::not_derived) ||
         std::find(told_by_reader.begin(), told_by_reader.end(), id) != told_by_reader.end();
}

Result<std::string> findings_page(const Tables& tables, const RuleBook& book) {
  const auto why = reasons(tables);
  if (!why) return why.error();
  std::string page =
      "# Findings\n\n"
      "Every finding that `charpie` can report. This page is made from `src/record/findings.def`, "
      "`rules.csv` and\n"
      "`reasons.csv`; do not edit it. A site changes severities, limits and what blocks by rows of its own: "
      "the head of\n"
      "`rules.csv` says how. A finding that blocks holds its record back from conversion, unless it is let "
      "pass by name.\n\n"
      "Findings tell what a reviewer would look at twice. None of the limits is a threshold of care, and a "
      "record\n"
      "without findings is not proved right. Not a medical device: local policy and the licensed clinician "
      "decide.\n";
  std::string group;
  for (std::size_t i = 0; i < record::finding_kinds().size(); ++i) {
    const auto& kind = record::finding_kinds()[i];
    const auto reason = why->find(kind.slug);
    if (reason == why->end()) {
      return Error{Error::mapping_broken,
                   "the finding '" + std::string(kind.slug) + "' has no row",
                   reasons_path,
                   0,
                   0,
                   "say why it is told"};
    }
    page += "\n## `" + std::string(kind.slug) + "`\n\n";
    page += std::string(severity_name(kind.severity)) + (kind.blocks ? ", blocks" : "") +
            "; FHIR issue type `" + std::string(kind.issue_type) + "`\n\n";
    page += "- says: " + shown_message(kind.message) + "\n";
    page += "- to do: " + shown_message(kind.mend) + "\n";
    page += "- why: " + reason->second.why + " (" + reason->second.source + ")\n";
    std::string limits;
    for (const auto& row : limit_rows) {
      if (row.slug != kind.slug) continue;
      limits.append(limits.empty() ? "" : ", ")
          .append(row.setting)
          .append(" ")
          .append(book.limit_value(row.limit));
      if (book.limit_unit(row.limit) != "1") limits.append(" ").append(book.limit_unit(row.limit));
    }
    if (!limits.empty()) page += "- limits: " + limits + "\n";
    if (is_rule(static_cast<FindingId>(i))) {
      const std::string file = "tests/cases/rules/" + std::string(kind.slug);
      page += "- shown by `" + file + ".json`; not by `" + file + ".near.json`\n";
    }
  }
  return page;
}

}  // namespace charpie::rules
