#include "cli/findings_output.hpp"

#include <CLI/CLI.hpp>
#include <ostream>

#include "flow/reject.hpp"

namespace charpie::cli {

namespace {

std::string_view color_of(record::Severity severity) {
  switch (severity) {
    case record::Severity::fatal:
    case record::Severity::error: return "\033[31m";
    case record::Severity::warning: return "\033[33m";
    case record::Severity::information: break;
  }
  return "\033[36m";
}

void append_text(const record::Finding& finding, bool color, std::string& out) {
  out += finding.file;
  if (finding.line != 0) {
    out += ':' + std::to_string(finding.line);
    if (finding.column != 0) out += ':' + std::to_string(finding.column);
  }
  out += ": ";
  if (color) out += color_of(finding.severity);
  out += flow::severity_name(finding.severity);
  if (color) out += "\033[0m";
  out += ' ';
  out += record::finding_kind(finding.id).slug;
  out += ": ";
  if (!finding.record_key.empty()) out += finding.record_key + ' ';
  if (!finding.path.empty()) out += finding.path + ": ";
  out += finding.message;
  if (!finding.mend.empty()) out += " (" + finding.mend + ")";
  out += '\n';
}

}  // namespace

void FindingsOptions::add_to(CLI::App& command) {
  command.add_option("--findings", file, "write the findings to this file instead of standard error");
  command.add_option("--findings-as", as, "text for people; ndjson, one JSON object a line")
      ->check(CLI::IsMember({"text", "ndjson"}))
      ->capture_default_str();
  command.add_flag("--summary", summary, "at the end, say how many records and how many findings of each kind");
  command.add_option("--fail-on", fail_on, "exit with 1 when a finding is at least this grave")
      ->check(CLI::IsMember({"error", "warning", "information"}))
      ->capture_default_str();
}

Result<std::unique_ptr<FindingsOutput>> FindingsOutput::open(const FindingsOptions& options, Session& session) {
  std::unique_ptr<FindingsOutput> output(new FindingsOutput(options, session));
  if (!options.file.empty()) {
    auto file = flow::OutputFile::open(options.file);
    if (!file) return file.error();
    output->file_ = std::move(*file);
  }
  return output;
}

Outcome FindingsOutput::tell(std::span<const record::Finding> findings) {
  text_.clear();
  for (const auto& one : findings) {
    ++counts_[one.id];
    const auto least = options_.fail_on == "error"     ? record::Severity::error
                       : options_.fail_on == "warning" ? record::Severity::warning
                                                       : record::Severity::information;
    failed_ = failed_ || one.severity >= least;
    if (options_.as == "ndjson") {
      flow::append_finding(one, text_);
      text_ += '\n';
    } else {
      append_text(one, session_.color && file_ == nullptr, text_);
    }
  }
  if (file_ != nullptr) return file_->write(text_);
  session_.err << text_;
  return std::monostate{};
}

Outcome FindingsOutput::finish() {
  if (file_ != nullptr) return file_->finish();
  return std::monostate{};
}

void FindingsOutput::write_summary() const {
  for (const auto& [id, count] : counts_) {
    const auto& kind = record::finding_kind(id);
    session_.err << count << ' ' << flow::severity_name(kind.severity) << ' ' << kind.slug
                 << (kind.blocks ? " (blocks)" : "") << '\n';
  }
}

}  // namespace charpie::cli
