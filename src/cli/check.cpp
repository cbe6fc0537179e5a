// charpie check: what is wrong with records, and what to do about it.
#include <CLI/CLI.hpp>
#include <memory>
#include <ostream>

#include "base/time.hpp"
#include "cli/commands.hpp"
#include "cli/record_options.hpp"
#include "flow/convert.hpp"

namespace charpie::cli {

namespace {

struct Request {
  RecordOptions records{};
  std::string to{};
  mapping::Options options{};
  std::string as_of{};
  bool derive = false;
  bool history = false;
  std::size_t history_memory = 256;  // MiB, of the whole program
};

// What everything but the visits takes: tables, batches on their way, buffers of temporary files.
constexpr std::size_t memory_beside_visits = 48;  // MiB
constexpr std::size_t least_history_memory = 64;

void run_check(Session& session, const Request& request) {
  flow::Conversion conversion;
  const auto from = session.form(request.records.from, true);
  if (!from) return session.fail(from.error());
  const auto to =
      session.form(request.to.empty() ? std::string(flow::record_form().name) : request.to, false);
  if (!to) return session.fail(to.error());
  conversion.from = *from;
  conversion.to = *to;
  const auto engine = session.engine({{conversion.from}, {conversion.to, false}});
  if (!engine) return session.fail(engine.error());
  conversion.options = request.options;
  request.records.tell(conversion.options);
  conversion.write = false;
  conversion.check_target = !request.to.empty();
  if (!request.as_of.empty() && !parse_time(request.as_of)) {
    return session.fail({Error::usage,
                         "--as-of '" + request.as_of + "' is not a time",
                         {},
                         0,
                         0,
                         "write 2026-03-02 or 2026-03-02T13:30+01:00"});
  }
  conversion.checks = {request.as_of, request.derive};
  conversion.take_notes = request.history;
  auto let = selected(request.records.let);
  if (!let) return session.fail(let.error());
  conversion.let = std::move(*let);
  auto findings = FindingsOutput::open(request.records.findings, session);
  if (!findings) return session.fail(findings.error());

  rules::History history((*engine)->rules(), {.memory = (request.history_memory - memory_beside_visits) << 20,
                                              .derive = request.derive});
  flow::Tally tally;
  flow::RecordKeys keys;
  const bool done = run_batches(
      session, request.records, [&] { return std::make_unique<flow::Converter>(**engine, conversion); },
      [&](flow::Batch& batch) {
        return request.history ? history.add(batch.notes) : Outcome(std::monostate{});
      },
      **findings, tally, &keys, nullptr);
  if (!done) return;
  if (request.history) {
    Outcome told = std::monostate{};
    auto finished = history.finish([&](const std::vector<record::Finding>& found) {
      if (told) told = (*findings)->tell(found);
    });
    if (!finished) return session.fail(finished.error());
    if (!told) return session.fail(told.error());
  }
  if (auto finished = (*findings)->finish(); !finished) return session.fail(finished.error());
  if (request.records.findings.summary) {
    session.err << tally.records << " records, " << tally.written << " can be converted, " << tally.rejected
                << " cannot\n";
    (*findings)->write_summary();
  }
  if ((*findings)->failed()) session.exit_code = data_has_errors;
}

}  // namespace

void add_check(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand("check", "report what is wrong with records, with place and mend");
  const auto request = std::make_shared<Request>();
  request->records.add_to(*command);
  add_form_option(*command, "--to", request->to, "also report what this form cannot hold", true);
  command->add_option("--as-of", request->as_of,
                      "report what lies after this time as in the future; without it there is no clock");
  command->add_flag(
      "--history", request->history,
      "also compare the visits of each wound with each other, in any order; told at the end, wound by wound");
  command
      ->add_option(
          "--history-memory", request->history_memory,
          "with --history: MiB that the program takes at most; visits beyond go to temporary files (TMPDIR)")
      ->check(CLI::Range(least_history_memory, std::size_t{1} << 20))
      ->capture_default_str();
  command->add_flag("--derive", request->derive, "also report derived measures");
  add_mapping_options(*command, request->options);
  command->footer(
      "Examples:\n"
      "  charpie check visits.ndjson --summary\n"
      "  charpie check visits.ndjson --to fhir-r4 --findings findings.ndjson --findings-as ndjson\n"
      "  charpie check march.ndjson april.ndjson --history\n"
      "Exit 1 when something was found that --fail-on asks for. Checks what was charted and nothing else: "
      "not a\n"
      "medical device; local policy and the licensed clinician decide.");
  command->callback([request, &session] { run_check(session, *request); });
}

}  // namespace charpie::cli
