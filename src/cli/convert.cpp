// charpie convert: records to FHIR, or to the canonical text of records.
#include "flow/convert.hpp"

#include <CLI/CLI.hpp>
#include <memory>
#include <ostream>

#include "cli/commands.hpp"
#include "cli/record_options.hpp"

namespace charpie::cli {

namespace {

struct Request {
  RecordOptions records{};
  flow::Conversion conversion{};
  std::string to{};
  std::string out{};
  std::string rejects{};
  std::string replaces{};
};

void run_convert(Session& session, Request& request) {
  const auto engine = session.engine();
  if (!engine) return session.fail(engine.error());
  auto& conversion = request.conversion;
  flow::find_form(request.records.from, conversion.from);
  flow::find_form(request.to, conversion.to);
  conversion.options.name_space = request.records.name_space;
  conversion.keep_rejects = !request.rejects.empty();
  auto let = find_slugs(request.records.let);
  if (!let) return session.fail(let.error());
  conversion.let = std::move(*let);

  std::unique_ptr<flow::OldVersions> old;
  if (!request.replaces.empty()) {
    auto opened = flow::OldVersions::open(request.replaces, **engine, request.records.name_space);
    if (!opened) return session.fail(opened.error());
    old = std::move(*opened);
    conversion.replaces = old.get();
  }
  auto findings = FindingsOutput::open(request.records.findings, session);
  if (!findings) return session.fail(findings.error());
  std::unique_ptr<flow::OutputFile> rejects;
  if (conversion.keep_rejects) {
    auto opened = flow::OutputFile::open(request.rejects);
    if (!opened) return session.fail(opened.error());
    rejects = std::move(*opened);
  }
  auto out = flow::OutputFile::open(request.out);
  if (!out) return session.fail(out.error());

  flow::Tally tally;
  const bool done = run_batches(
      session, request.records, [&] { return std::make_unique<flow::Converter>(**engine, conversion); },
      [&](flow::Batch& batch) { return (*out)->write(batch.out); }, rejects.get(), **findings, tally, out->get());
  if (!done) return;
  for (const auto& outcome : {rejects == nullptr ? Outcome(std::monostate{}) : rejects->finish(),
                              (*findings)->finish(), (*out)->finish()}) {
    if (!outcome) return session.fail(outcome.error());
  }
  if (request.records.findings.summary) {
    session.err << tally.records << " records, " << tally.written << " converted, " << tally.rejected << " rejected\n";
    (*findings)->write_summary();
  }
  if ((*findings)->failed()) session.exit_code = data_has_errors;
}

}  // namespace

void add_convert(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand("convert", "write records as FHIR, or FHIR as records; what blocks is held back and told");
  // The request lives as long as the command line that refers to it.
  const auto request = std::make_shared<Request>();
  request->records.add_to(*command);
  command->add_option("--to", request->to, "the form that goes out: fhir-r4, or record (the canonical text)")
      ->required()
      ->check(CLI::IsMember({"record", "fhir-r4"}));
  add_mapping_options(*command, request->conversion.options);
  command->add_option("--pack", request->conversion.options.pack,
                      "one transaction or collection Bundle a visit; bulk: -o names a folder, one file a resource type")
      ->check(CLI::IsMember({"transaction", "collection"}))
      ->capture_default_str();
  command->add_flag("--pretty", request->conversion.pretty, "spread over lines, for people");
  command->add_option("-o,--output", request->out, "write to this file, which appears whole or not at all (default: standard output)");
  command->add_option("--rejects", request->rejects, "write what was held back here, as it came, each with its findings");
  command->add_option("--replaces", request->replaces,
                      "the file of records that was sent before: what amended records no longer say is withdrawn");
  command->callback([request, &session] { run_convert(session, *request); });
}

}  // namespace charpie::cli
