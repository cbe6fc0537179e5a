#include "cli/findings_output.hpp"

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>
#include <ostream>

#include "flow/file_source.hpp"

namespace charpie::cli {

namespace {

record::Severity severity_of(std::string_view name) {
  if (name == "information") return record::Severity::information;
  return name == "warning" ? record::Severity::warning : record::Severity::error;
}

}  // namespace

void FindingsOptions::add_to(CLI::App& command) {
  command.add_option("--findings", file, "write the findings to this file instead of standard error");
  command
      .add_option("--findings-as", as,
                  "text for people; ndjson, one JSON object a line; outcome, a FHIR OperationOutcome; sarif "
                  "for pipelines")
      ->check(CLI::IsMember({"text", "ndjson", "outcome", "sarif"}))
      ->capture_default_str();
  command
      .add_option("--only", only,
                  "tell only findings of this slug, or group of slugs (size); may be repeated")
      ->allow_extra_args(false);
  command.add_option("--skip", skip, "do not tell findings of this slug or group; may be repeated")
      ->allow_extra_args(false);
  command.add_option("--known", known,
                     "do not tell again what stands in this file (findings as ndjson of an earlier run)");
  command.add_flag("--summary", summary,
                   "at the end, say how many records, and how many findings of each kind");
  command.add_option("--fail-on", fail_on, "exit with 1 when a told finding is at least this grave")
      ->check(CLI::IsMember({"error", "warning", "information"}))
      ->capture_default_str();
}

Result<std::unique_ptr<FindingsOutput>> FindingsOutput::open(const FindingsOptions& options,
                                                             Session& session) {
  return open(options, session, nullptr, {});
}

Result<std::unique_ptr<FindingsOutput>> FindingsOutput::open(const FindingsOptions& options, Session& session,
                                                             const std::string& run,
                                                             const nlohmann::json& mark) {
  return open(options, session, &run, mark);
}

Result<std::unique_ptr<FindingsOutput>> FindingsOutput::open(const FindingsOptions& options, Session& session,
                                                             const std::string* run,
                                                             const nlohmann::json& mark) {
  std::unique_ptr<FindingsOutput> output(new FindingsOutput(options, session));
  auto selection = rules::Selection::of(options.only, options.skip);
  if (!selection) return selection.error();
  output->selection_ = *selection;
  if (!options.known.empty()) {
    const auto text = flow::read_whole(options.known);
    if (!text) return text.error();
    auto known = rules::Known::read(*text, options.known);
    if (!known) return known.error();
    output->known_ = std::move(*known);
  }
  if (!options.file.empty()) {
    const auto from = mark.is_null() ? std::uint64_t{0} : mark.at("bytes").get<std::uint64_t>();
    auto file = run == nullptr ? flow::OutputFile::open(options.file)
                               : flow::OutputFile::open(options.file, {*run, from});
    if (!file) return file.error();
    output->file_ = std::move(*file);
  }
  rules::ReportOptions report;
  rules::find_report_form(options.as, report.form);
  report.color = session.color && output->file_ == nullptr;
  report.version = CHARPIE_VERSION;
  if (const auto engine = session.engine())
    report.system = (*engine)->terms().canonical() + "/CodeSystem/finding";
  output->report_ = rules::Report(report);
  output->report_.begin(output->text_);
  if (!mark.is_null()) {
    output->text_.clear();
    output->failed_ = mark.at("failed");
    output->report_.go_on(mark.at("any"));
    output->summary_.restore(mark.at("counts").get<std::vector<rules::Summary::Row>>());
  }
  return output;
}

Result<nlohmann::json> FindingsOutput::mark() {
  std::uint64_t bytes = 0;
  if (file_ != nullptr) {
    auto synced = file_->sync();
    if (!synced) return synced.error();
    bytes = *synced;
  }
  return nlohmann::json{
      {"bytes", bytes}, {"failed", failed_}, {"any", report_.any()}, {"counts", summary_.rows()}};
}

Outcome FindingsOutput::tell(std::span<const record::Finding> findings) {
  for (const auto& one : findings) {
    if (!selection_.wants(one)) continue;
    if (known_ && known_->take(one)) continue;
    summary_.add(one, one.file);
    failed_ = failed_ || one.severity >= severity_of(options_.fail_on);
    report_.add(one, text_);
  }
  return put();
}

Outcome FindingsOutput::put() {
  Outcome outcome = std::monostate{};
  if (file_ != nullptr) {
    outcome = file_->write(text_);
  } else {
    session_.err << text_;
  }
  text_.clear();
  return outcome;
}

Outcome FindingsOutput::finish() {
  report_.end(text_);
  if (auto told = put(); !told) return told;
  if (file_ != nullptr) return file_->finish();
  return std::monostate{};
}

void FindingsOutput::write_summary() const {
  std::string text;
  summary_.append(text);
  if (known_)
    text += std::to_string(known_->taken()) + " known findings not told again, " +
            std::to_string(known_->left()) + " did not come again\n";
  session_.err << text;
}

}  // namespace charpie::cli
