// Where findings are told: on standard error, or in a file of its own.
#pragma once
#include <array>
#include <cstdint>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "cli/session.hpp"
#include "flow/output_file.hpp"
#include "record/finding.hpp"

namespace CLI {
class App;
}

namespace charpie::cli {

/// The options of commands that report findings.
struct FindingsOptions {
  std::string file{};            // --findings
  std::string as = "text";       // --findings-as
  bool summary = false;          // --summary
  std::string fail_on = "error"; // --fail-on
  void add_to(CLI::App& command);
};

/// Tells findings as they come and counts them.
class FindingsOutput {
 public:
  /// Error::unwritable when the file of its own cannot be opened.
  static Result<std::unique_ptr<FindingsOutput>> open(const FindingsOptions& options, Session& session);

  Outcome tell(std::span<const record::Finding> findings);
  /// Puts the file in its place.
  Outcome finish();
  /// Whether a finding was as grave as --fail-on asks.
  bool failed() const { return failed_; }
  /// How often each finding was seen, for --summary.
  void write_summary() const;

 private:
  FindingsOutput(const FindingsOptions& options, Session& session) : options_(options), session_(session) {}
  const FindingsOptions& options_;
  Session& session_;
  std::unique_ptr<flow::OutputFile> file_;
  std::map<record::FindingId, std::uint64_t> counts_;
  bool failed_ = false;
  std::string text_;
};

}  // namespace charpie::cli
