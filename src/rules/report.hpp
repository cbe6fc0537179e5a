// Findings told: as text for people, NDJSON, a FHIR OperationOutcome, or SARIF 2.1.0 for pipelines; counted;
// chosen; and held against a baseline of findings that were accepted before.
#pragma once
#include <array>
#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <tuple>
#include <unordered_map>
#include <vector>

#include "base/result.hpp"
#include "record/finding.hpp"

namespace charpie::rules {

enum class ReportForm { text, ndjson, outcome, sarif };
/// The form of that name ("text", "ndjson", "outcome", "sarif"); false when there is none.
bool find_report_form(std::string_view name, ReportForm& form);
std::span<const std::string_view> report_form_names();

/// "fatal", "error", "warning" or "information" (FHIR issue-severity).
std::string_view severity_name(record::Severity severity);

struct ReportOptions {
  ReportForm form = ReportForm::text;
  bool color = false;     // text only; the severity is always there as a word too
  std::string version{};  // of the program, for SARIF
  std::string system{};   // code system of the slugs in an OperationOutcome; empty = no coding
};

/// Writes findings one after the other; what it appends is complete only after end(). Holds no findings.
class Report {
 public:
  explicit Report(ReportOptions options) : options_(std::move(options)) {}

  void begin(std::string& out);
  /// Whether a finding was added; and to go on where an earlier report was cut.
  bool any() const { return !first_; }
  void go_on(bool any) { first_ = !any; }
  void add(const record::Finding& finding, std::string& out);
  /// An OperationOutcome must hold at least one issue (R4 and R5, OperationOutcome.issue 1..*): without
  /// findings it says so.
  void end(std::string& out);

 private:
  ReportOptions options_;
  bool first_ = true;
};

/// Which findings a run tells: `only` those of the slugs if any are given, and not those to `skip`.
class Selection {
 public:
  /// Error::usage for a slug that is none, with the nearest one. A slug's front part stands for all of its
  /// group: "size" is size.too-large, size.jump, …
  static Result<Selection> of(std::span<const std::string> only, std::span<const std::string> skip);
  bool wants(const record::Finding& finding) const { return wanted_[static_cast<std::size_t>(finding.id)]; }

 private:
  std::array<bool, static_cast<std::size_t>(record::FindingId::count)> wanted_{};
};

/// Counts for --summary.
class Summary {
 public:
  /// `source`: where the record came from (source.system, or the file).
  void add(const record::Finding& finding, std::string_view source);
  /// The same counts added up, e.g. of several threads.
  void add(const Summary& other);
  std::uint64_t total() const;
  std::uint64_t count(record::FindingId id) const;
  /// All counts, to be kept and taken up again: slug, severity, source, count; of what was not read the first
  /// two are empty, and the path stands for the source.
  using Row = std::tuple<std::string, std::string, std::string, std::uint64_t>;
  std::vector<Row> rows() const;
  void restore(std::span<const Row> rows);
  /// Lines for people: severity, slug, count, then the sources with their counts, then what was not read, by
  /// its path without the places in lists.
  void append(std::string& out) const;

 private:
  std::map<record::FindingId, std::map<std::string, std::uint64_t, std::less<>>> counts_;
  std::map<record::FindingId, record::Severity> severities_;
  std::map<std::string, std::uint64_t, std::less<>> unread_;
};

/// What tells one finding from another, wherever its file and line went: slug, record key, path and message,
/// as a name-based UUID.
std::string fingerprint(const record::Finding& finding);

/// Findings that were accepted before (--known FILE): the NDJSON that Report writes.
class Known {
 public:
  /// Error::invalid with the line for text that is not such a file.
  static Result<Known> read(std::string_view ndjson, std::string_view file);
  /// Whether the finding was known; each known one is used up once, so that a second of its kind is new.
  bool take(const record::Finding& finding);
  std::uint64_t taken() const { return taken_; }
  /// Known findings that did not come again.
  std::uint64_t left() const { return held_ - taken_; }

 private:
  std::unordered_map<std::string, std::uint32_t> counts_;
  std::uint64_t held_ = 0, taken_ = 0;
};

}  // namespace charpie::rules
