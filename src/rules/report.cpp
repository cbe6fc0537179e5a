#include "rules/report.hpp"

#include <algorithm>

#include "base/arena.hpp"
#include "base/escape.hpp"
#include "base/utf8.hpp"
#include "base/uuid.hpp"
#include "record/nearest.hpp"
#include "syntax/json.hpp"

namespace charpie::rules {

using record::Finding;
using record::FindingId;
using record::Severity;

namespace {

constexpr std::array<std::string_view, 4> severity_names = {"information", "warning", "error", "fatal"};
constexpr std::array<std::string_view, 4> form_names = {"text", "ndjson", "outcome", "sarif"};
// Escape sequences of ECMA-48, 8.3.117 (SGR): cyan, yellow, red, red.
constexpr std::array<std::string_view, 4> colors = {"\033[36m", "\033[33m", "\033[31m", "\033[31m"};
constexpr std::string_view plain = "\033[0m";
// SARIF 2.1.0, 3.27.10: level.
constexpr std::array<std::string_view, 4> sarif_levels = {"note", "warning", "error", "error"};

std::string_view slug_of(const Finding& finding) {
  return record::finding_kind(finding.id).slug;
}

// File names are bytes to the system; JSON holds Unicode only.
std::string printable(std::string_view text) {
  std::string out(text);
  if (!is_utf8(text)) {
    for (auto& c : out) {
      if ((c & 0x80) != 0) c = '?';
    }
  }
  return out;
}

// Members of one JSON object, with commas in between.
class Members {
 public:
  explicit Members(std::string& out) : out_(out) { out_ += '{'; }
  void text(std::string_view name, std::string_view value) {
    if (value.empty()) return;
    start(name);
    append_json_string(printable(value), out_);
  }
  void number(std::string_view name, std::uint64_t value) {
    if (value == 0) return;
    raw(name, std::to_string(value));
  }
  void raw(std::string_view name, std::string_view json) {
    start(name);
    out_ += json;
  }
  void start(std::string_view name) {
    if (!first_) out_ += ',';
    first_ = false;
    append_json_string(name, out_);
    out_ += ':';
  }
  void close() { out_ += '}'; }

 private:
  std::string& out_;
  bool first_ = true;
};

std::string place_of(const Finding& finding) {
  std::string place(printable(finding.file));
  if (finding.line != 0) place += ":" + std::to_string(finding.line);
  if (finding.line != 0 && finding.column != 0) place += ":" + std::to_string(finding.column);
  return place;
}

void append_text(const Finding& finding, bool color, std::string& out) {
  const auto severity = static_cast<std::size_t>(finding.severity);
  out += place_of(finding);
  out += out.empty() || finding.file.empty() ? "" : ": ";
  if (color) out += colors[severity];
  out += severity_names[severity];
  if (color) out += plain;
  out += ' ';
  out += slug_of(finding);
  if (finding.blocks) out += " (blocks)";
  out += ": ";
  if (!finding.record_key.empty()) out += finding.record_key + " ";
  if (!finding.path.empty()) out += finding.path + ": ";
  out += finding.message;
  if (!finding.mend.empty()) out += "\n    " + finding.mend;
  out += '\n';
}

void append_ndjson(const Finding& finding, std::string& out) {
  Members members(out);
  members.text("severity", severity_names[static_cast<std::size_t>(finding.severity)]);
  members.text("slug", slug_of(finding));
  members.raw("blocks", finding.blocks ? "true" : "false");
  members.text("file", finding.file);
  members.number("line", finding.line);
  members.number("column", finding.column);
  members.text("record", finding.record_key);
  members.text("path", finding.path);
  members.text("message", finding.message);
  members.text("mend", finding.mend);
  members.close();
  out += '\n';
}

// One OperationOutcome.issue (R4 and R5 alike): the path is FHIRPath into the record or the instance.
void append_issue(const Finding& finding, std::string_view system, std::string& out) {
  Members issue(out);
  issue.text("severity", severity_names[static_cast<std::size_t>(finding.severity)]);
  issue.text("code", record::finding_kind(finding.id).issue_type);
  issue.start("details");
  Members details(out);
  if (!system.empty()) {
    details.start("coding");
    out += '[';
    Members coding(out);
    coding.text("system", system);
    coding.text("code", slug_of(finding));
    coding.close();
    out += ']';
  }
  details.text("text", finding.message);
  details.close();
  std::string more = place_of(finding);
  if (!finding.record_key.empty()) more += (more.empty() ? "record " : ", record ") + finding.record_key;
  if (!finding.mend.empty()) more += (more.empty() ? "" : ": ") + finding.mend;
  issue.text("diagnostics", more);
  if (!finding.path.empty()) {
    issue.start("expression");
    out += '[';
    append_json_string(finding.path, out);
    out += ']';
  }
  issue.close();
}

// SARIF wants URI references (3.4.3): what is not unreserved or '/' is written in percents.
std::string uri_of(std::string_view file) {
  std::string out;
  for (const char c : file) {
    const bool kept = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                      c == '/' || c == '.' || c == '-' || c == '_' || c == '~';
    if (kept) {
      out += c;
    } else {
      constexpr char digits[] = "0123456789ABCDEF";
      out += '%';
      out += digits[static_cast<unsigned char>(c) >> 4];
      out += digits[static_cast<unsigned char>(c) & 15];
    }
  }
  return out;
}

void append_result(const Finding& finding, std::string& out) {
  Members result(out);
  result.text("ruleId", slug_of(finding));
  result.raw("ruleIndex", std::to_string(static_cast<std::size_t>(finding.id)));
  result.text("level", sarif_levels[static_cast<std::size_t>(finding.severity)]);
  result.start("message");
  Members message(out);
  message.text("text", finding.message + (finding.mend.empty() ? "" : ". To do: " + finding.mend));
  message.close();
  result.start("locations");
  out += "[";
  Members location(out);
  if (!finding.file.empty()) {
    location.start("physicalLocation");
    Members physical(out);
    physical.start("artifactLocation");
    Members artifact(out);
    artifact.text("uri", uri_of(finding.file));
    artifact.close();
    if (finding.line != 0) {
      physical.start("region");
      Members region(out);
      region.number("startLine", finding.line);
      region.number("startColumn", finding.column);
      region.close();
    }
    physical.close();
  }
  std::string logical = finding.record_key;
  if (!finding.path.empty()) logical += (logical.empty() ? "" : " ") + finding.path;
  if (!logical.empty()) {
    location.start("logicalLocations");
    out += '[';
    Members member(out);
    member.text("fullyQualifiedName", logical);
    member.close();
    out += ']';
  }
  location.close();
  out += ']';
  result.start("partialFingerprints");
  Members prints(out);
  prints.text("finding/v1", fingerprint(finding));
  prints.close();
  result.close();
}

void append_sarif_head(std::string_view version, std::string& out) {
  out +=
      R"({"$schema":"https://json.schemastore.org/sarif-2.1.0.json","version":"2.1.0","runs":[{"tool":{"driver":)";
  Members driver(out);
  driver.text("name", "charpie");
  driver.text("version", version);
  driver.start("rules");
  out += '[';
  for (const auto& kind : record::finding_kinds()) {
    if (&kind != record::finding_kinds().data()) out += ',';
    Members rule(out);
    rule.text("id", kind.slug);
    for (const auto& [name, text] :
         {std::pair("shortDescription", kind.message), std::pair("help", kind.mend)}) {
      rule.start(name);
      Members words(out);
      words.text("text", text);
      words.close();
    }
    rule.start("defaultConfiguration");
    Members configuration(out);
    configuration.text("level", sarif_levels[static_cast<std::size_t>(kind.severity)]);
    configuration.close();
    rule.close();
  }
  out += ']';
  driver.close();
  out += R"(},"columnKind":"unicodeCodePoints","results":[)";
}

}  // namespace

bool find_report_form(std::string_view name, ReportForm& form) {
  const auto found = std::find(form_names.begin(), form_names.end(), name);
  if (found == form_names.end()) return false;
  form = static_cast<ReportForm>(found - form_names.begin());
  return true;
}

std::span<const std::string_view> report_form_names() {
  return form_names;
}

std::string_view severity_name(Severity severity) {
  return severity_names[static_cast<std::size_t>(severity)];
}

void Report::begin(std::string& out) {
  first_ = true;
  if (options_.form == ReportForm::outcome) out += R"({"resourceType":"OperationOutcome","issue":[)";
  if (options_.form == ReportForm::sarif) append_sarif_head(options_.version, out);
}

void Report::add(const Finding& finding, std::string& out) {
  const bool listed = options_.form == ReportForm::outcome || options_.form == ReportForm::sarif;
  if (listed && !first_) out += ",\n";
  first_ = false;
  switch (options_.form) {
    case ReportForm::text:
      return append_text(finding, options_.color, out);
    case ReportForm::ndjson:
      return append_ndjson(finding, out);
    case ReportForm::outcome:
      return append_issue(finding, options_.system, out);
    case ReportForm::sarif:
      return append_result(finding, out);
  }
}

void Report::end(std::string& out) {
  if (options_.form == ReportForm::outcome) {
    if (first_)
      out += R"({"severity":"information","code":"informational","details":{"text":"nothing was found"}})";
    out += "]}\n";
  }
  if (options_.form == ReportForm::sarif) out += "]}]}\n";
}

Result<Selection> Selection::of(std::span<const std::string> only, std::span<const std::string> skip) {
  Selection selection;
  selection.wanted_.fill(only.empty());
  const auto mark = [&](const std::string& slug, bool wanted) -> Outcome {
    bool known = false;
    for (std::size_t i = 0; i < record::finding_kinds().size(); ++i) {
      const auto one = record::finding_kinds()[i].slug;
      if (one != slug && one.substr(0, one.find('.')) != slug) continue;
      selection.wanted_[i] = wanted;
      known = true;
    }
    if (known) return std::monostate{};
    std::string_view nearest;
    std::size_t least = slug.size();
    for (const auto& kind : record::finding_kinds()) {
      const auto distance = record::edit_distance(kind.slug, slug);
      if (distance < least) {
        least = distance;
        nearest = kind.slug;
      }
    }
    return Error{Error::usage,
                 "there is no finding '" + slug + "'",
                 {},
                 0,
                 0,
                 nearest.empty() ? "" : "perhaps meant: " + std::string(nearest)};
  };
  for (const auto& slug : only) {
    if (auto done = mark(slug, true); !done) return done.error();
  }
  for (const auto& slug : skip) {
    if (auto done = mark(slug, false); !done) return done.error();
  }
  return selection;
}

void Summary::add(const Finding& finding, std::string_view source) {
  auto& sources = counts_[finding.id];
  auto found = sources.find(source);
  if (found == sources.end()) found = sources.emplace(source, 0).first;
  ++found->second;
  severities_[finding.id] = finding.severity;
  if (finding.id == FindingId::instance_unread || finding.id == FindingId::instance_unknown ||
      finding.id == FindingId::number_in_text)
    ++unread_[record::without_indexes(finding.path)];
}

void Summary::add(const Summary& other) {
  for (const auto& [id, sources] : other.counts_) {
    for (const auto& [source, count] : sources) counts_[id][source] += count;
  }
  for (const auto& [id, severity] : other.severities_) severities_[id] = severity;
  for (const auto& [path, count] : other.unread_) unread_[path] += count;
}

std::uint64_t Summary::count(FindingId id) const {
  std::uint64_t sum = 0;
  if (const auto found = counts_.find(id); found != counts_.end()) {
    for (const auto& [source, count] : found->second) sum += count;
  }
  return sum;
}

std::uint64_t Summary::total() const {
  std::uint64_t sum = 0;
  for (const auto& [id, sources] : counts_) sum += count(id);
  return sum;
}

std::vector<Summary::Row> Summary::rows() const {
  std::vector<Row> rows;
  for (const auto& [id, sources] : counts_) {
    for (const auto& [source, count] : sources) {
      rows.emplace_back(record::finding_kind(id).slug, severity_name(severities_.at(id)), source, count);
    }
  }
  for (const auto& [path, count] : unread_) rows.emplace_back("", "", path, count);
  return rows;
}

void Summary::restore(std::span<const Row> rows) {
  for (const auto& [slug, severity, source, count] : rows) {
    if (slug.empty()) unread_[source] = count;
    const auto id = record::find_finding(slug);
    if (id == FindingId::count) continue;
    counts_[id][source] = count;
    for (const auto one : {record::Severity::information, record::Severity::warning, record::Severity::error,
                           record::Severity::fatal}) {
      if (severity_name(one) == severity) severities_[id] = one;
    }
  }
}

void Summary::append(std::string& out) const {
  std::map<std::string, std::uint64_t, std::less<>> by_source;
  for (const auto& [id, sources] : counts_) {
    out += std::to_string(count(id)) + " " + std::string(severity_name(severities_.at(id))) + " " +
           std::string(record::finding_kind(id).slug) + "\n";
    for (const auto& [source, count] : sources) by_source[source] += count;
  }
  for (const auto& [source, count] : by_source)
    out += std::to_string(count) + " from " + (source.empty() ? "(no source named)" : source) + "\n";
  for (const auto& [path, count] : unread_) out += std::to_string(count) + " not read at " + path + "\n";
}

std::string fingerprint(const Finding& finding) {
  std::string name(slug_of(finding));
  for (const auto& part : {finding.record_key, finding.path, finding.message}) name.append("\n").append(part);
  return uuid_text(uuid_v5(uuid_space_url, name));
}

Result<Known> Known::read(std::string_view ndjson, std::string_view file) {
  Known known;
  const syntax::Names names;
  Arena arena;
  std::size_t line_number = 0;
  for (std::size_t at = 0; at < ndjson.size();) {
    const std::size_t end = std::min(ndjson.find('\n', at), ndjson.size());
    const auto line = ndjson.substr(at, end - at);
    at = end + 1;
    ++line_number;
    if (line.find_first_not_of(" \t\r") == std::string_view::npos) continue;
    arena.reset();
    const auto node = syntax::read_json(line, arena, names);
    const auto text = [&](std::string_view name) {
      const auto* member = (*node)->member(name);
      return member == nullptr || !member->is_string() ? std::string() : std::string(member->text);
    };
    Finding finding{};
    if (node && (*node)->is_object()) {
      finding.id = record::find_finding(text("slug"));
      finding.record_key = text("record");
      finding.path = text("path");
      finding.message = text("message");
    }
    if (!node || !(*node)->is_object() || finding.id == FindingId::count) {
      return Error{Error::invalid,
                   "this line is no finding",
                   std::string(file),
                   line_number,
                   0,
                   "give the file that --findings-as ndjson wrote"};
    }
    ++known.counts_[fingerprint(finding)];
    ++known.held_;
  }
  return known;
}

bool Known::take(const Finding& finding) {
  const auto found = counts_.find(fingerprint(finding));
  if (found == counts_.end() || found->second == 0) return false;
  --found->second;
  ++taken_;
  return true;
}

}  // namespace charpie::rules
