// Where findings are told: on standard error, or in a file of its own.
#pragma once
#include <cstdint>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "cli/session.hpp"
#include "flow/output_file.hpp"
#include "record/finding.hpp"
#include "rules/report.hpp"

namespace CLI {
class App;
}

namespace charpie::cli {

/// The options of commands that report findings.
struct FindingsOptions {
  std::string file{};             // --findings
  std::string as = "text";        // --findings-as
  bool summary = false;           // --summary
  std::string fail_on = "error";  // --fail-on
  std::vector<std::string> only{}, skip{};
  std::string known{};  // --known
  void add_to(CLI::App& command);
};

/// Tells findings as they come and counts them.
class FindingsOutput {
 public:
  /// Error::unwritable when the file of its own cannot be opened.
  static Result<std::unique_ptr<FindingsOutput>> open(const FindingsOptions& options, Session& session);
  /// The same in a run that keeps marks (flow/journal.hpp): `run` names its output, `mark` is what mark()
  /// gave in the run that was killed, or null.
  static Result<std::unique_ptr<FindingsOutput>> open(const FindingsOptions& options, Session& session,
                                                      const std::string& run, const nlohmann::json& mark);
  /// Puts the findings to disk and says what was told so far.
  Result<nlohmann::json> mark();
  /// Lets go of the file as a killed run would.
  void leave() {
    if (file_ != nullptr) file_->leave();
  }

  Outcome tell(std::span<const record::Finding> findings);
  /// Tells what closes the report and puts the file in its place.
  Outcome finish();
  /// Whether a finding was as grave as --fail-on asks.
  bool failed() const { return failed_; }
  /// How often each finding was seen, for --summary.
  void write_summary() const;

 private:
  FindingsOutput(const FindingsOptions& options, Session& session) : options_(options), session_(session) {}
  static Result<std::unique_ptr<FindingsOutput>> open(const FindingsOptions& options, Session& session,
                                                      const std::string* run, const nlohmann::json& mark);
  Outcome put();
  const FindingsOptions& options_;
  Session& session_;
  std::unique_ptr<flow::OutputFile> file_;
  rules::Report report_{{}};
  rules::Selection selection_;
  std::optional<rules::Known> known_;
  rules::Summary summary_;
  bool failed_ = false;
  std::string text_;
};

}  // namespace charpie::cli
