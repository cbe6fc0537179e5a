#include "cli/record_options.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <thread>

#include "base/uuid.hpp"
#include "flow/journal.hpp"

namespace charpie::cli {

namespace {

// Each worker holds two batches of about half a MiB: eight keep the program small on a large machine.
constexpr unsigned most_jobs_unasked = 8;
constexpr unsigned most_jobs = 1024;

// RFC 3986 sections 3.1 and 2: a scheme, a colon, and characters that may stand in a URI.
bool is_absolute_uri(std::string_view text) {
  const auto is_letter = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); };
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  const auto colon = text.find(':');
  if (colon == std::string_view::npos || colon + 1 == text.size() || !is_letter(text.front())) return false;
  const auto scheme = text.substr(0, colon);
  const auto rest = text.substr(colon + 1);
  return std::all_of(
             scheme.begin(), scheme.end(),
             [&](char c) { return is_letter(c) || is_digit(c) || c == '+' || c == '-' || c == '.'; }) &&
         std::all_of(rest.begin(), rest.end(), [&](char c) {
           return is_letter(c) || is_digit(c) ||
                  std::string_view("-._~:/?#[]@!$&'()*+,;=%").find(c) != std::string_view::npos;
         });
}

}  // namespace

void add_namespace_option(CLI::App& command, std::string& name_space) {
  command
      .add_option("--namespace", name_space,
                  "identifies the source where records name no system (a URI); all ids are made of it, too")
      ->check(CLI::Validator(
          [](const std::string& text) {
            if (is_absolute_uri(text) || parse_uuid(text)) return std::string{};
            return "'" + text +
                   "' is no absolute URI, give one that is yours: https://hospital.example/charting";
          },
          ""));
}

void RecordOptions::add_to(CLI::App& command) {
  command.add_option("files", files,
                     "files of records: a JSON object, an array, or one a line; of FHIR also folders of "
                     "resources, one a line; - or none = standard input");
  add_form_option(command, "--from", from, "the form that comes in")->capture_default_str();
  add_namespace_option(command, name_space);
  command
      .add_option(
          "--visit-window", visit_window,
          "reading FHIR of others: findings of one wound so many minutes apart are one visit (default: only "
          "the identical instant)")
      ->check(CLI::Range(std::int64_t{0}, std::int64_t{7 * 24 * 60}));
  command
      .add_option("--jobs", jobs,
                  "worker threads; the output is the same for any number (default: one a core, at most 8)")
      ->check(CLI::Range(1u, most_jobs));
  command
      .add_option("--sort-memory", sort_memory,
                  "MiB for putting single resources together to visits; the rest goes to temporary files")
      ->check(CLI::Range(std::size_t{1}, std::size_t{1} << 20))
      ->capture_default_str();
  command.add_option("--let", let, "let this blocking finding pass, by its slug; may be repeated")
      ->allow_extra_args(false);
  findings.add_to(command);
}

CLI::Option* add_form_option(CLI::App& command, const std::string& name, std::string& form,
                             const std::string& help, bool outside_only) {
  std::vector<std::string> names;
  for (const auto& one : flow::forms()) {
    if (!outside_only || !one.is_record()) names.emplace_back(one.name);
  }
  std::string listed;
  for (const auto& one : names) listed.append(one).append(", ");
  for (const auto one : flow::standard_layouts()) listed.append(one).append(", ");
  listed = "{" + listed + "site:NAME, site:./FOLDER}";
  const auto check = [names, listed](const std::string& text) {
    const bool is_one =
        flow::names_layout(text) || std::find(names.begin(), names.end(), text) != names.end();
    return is_one ? std::string{} : text + " is none of " + listed;
  };
  return command.add_option(name, form, help)->check(CLI::Validator(check, listed));
}

void add_mapping_options(CLI::App& command, mapping::Options& options) {
  command
      .add_option("--units", options.units,
                  "fixed: cm, cm2, mL, the charted unit beside it; charted: as it was charted")
      ->check(CLI::IsMember({"fixed", "charted"}))
      ->capture_default_str();
  command
      .add_option(
          "--refs", options.refs,
          "how patient, encounter and people are named: identifier (loads everywhere, attaches to no chart), "
          "conditional (attaches to what the server has), include (sends minimal Patient and Practitioner)")
      ->check(CLI::IsMember({"identifier", "conditional", "include"}))
      ->capture_default_str();
}

unsigned job_count(unsigned asked) {
  if (asked != 0) return asked;
  return std::clamp(std::thread::hardware_concurrency(), 1u, most_jobs_unasked);
}

Result<std::optional<rules::Selection>> selected(const std::vector<std::string>& slugs) {
  if (slugs.empty()) return std::optional<rules::Selection>{};
  auto selection = rules::Selection::of(slugs, {});
  if (!selection) return selection.error();
  return std::optional<rules::Selection>(*selection);
}

bool run_batches(Session& session, const RecordOptions& options, const flow::MakeWorker& make_worker,
                 const std::function<Outcome(flow::Batch&)>& place, FindingsOutput& findings,
                 flow::Tally& tally, flow::RecordKeys* keys, const flow::OutputFile* reader_gone,
                 const Marks* marks) {
  const auto form = session.form(options.from, true);
  if (!form) return session.fail(form.error()), false;
  const auto engine = session.engine();
  if (!engine) return session.fail(engine.error()), false;
  auto input = flow::open_source(options.files, **form, **engine, options.sort_memory << 20);
  if (!input) return session.fail(input.error()), false;
  std::unique_ptr<flow::Worker> again;  // of what is found beside other batches: seldom needed
  const auto take = [&](flow::Batch& batch) -> Result<bool> {
    if (keys != nullptr && keys->review(batch)) {
      if (again == nullptr) again = make_worker();
      batch.clear_work();
      again->work(batch);
    }
    tally += batch.tally;
    if (auto told = findings.tell(batch.findings); !told) return told.error();
    if (auto placed = place(batch); !placed) return placed.error();
    if (marks != nullptr) {
      if (auto marked = marks->after(batch); !marked) return marked.error();
    }
    return reader_gone == nullptr || !reader_gone->closed();
  };
  std::optional<flow::MarkedInput> marked;
  if (marks != nullptr) marked.emplace(**input, marks->done, marks->digest);
  flow::BatchSource& source = marked ? static_cast<flow::BatchSource&>(*marked) : **input;
  if (auto done = flow::run_in_order(source, job_count(options.jobs), make_worker, take); !done) {
    session.fail(done.error());
    return false;
  }
  return true;
}

}  // namespace charpie::cli
