// charpie convert: records to FHIR, or to the canonical text of records.
#include "flow/convert.hpp"

#include <CLI/CLI.hpp>
#include <memory>
#include <ostream>

#include "cli/commands.hpp"
#include "cli/record_options.hpp"
#include "flow/bulk_folder.hpp"
#include "flow/digest.hpp"

namespace charpie::cli {

namespace {

struct Request {
  RecordOptions records{};
  flow::Conversion conversion{};
  std::string to{};
  std::string out{};
  std::string rejects{};
  std::string unread{};
  std::string replaces{};
};

// Options that ask for different things; empty when they go together.
std::string contradiction(const Request& request) {
  const bool bulk = request.conversion.options.pack == "bulk";
  if (bulk && request.to == "record") return "--pack bulk is for FHIR, --to record gives records";
  const bool xml = request.conversion.to->syntax == flow::Syntax::xml;
  if (bulk && xml) return "--pack bulk is one resource in JSON a line, " + request.to + " is XML";
  if (xml && request.conversion.pretty) return "--pretty spreads JSON, " + request.to + " is XML";
  if (bulk && request.conversion.pretty) return "--pack bulk writes one resource a line, --pretty spreads it";
  if (!request.replaces.empty() && request.to == "record") return "--replaces withdraws FHIR resources, --to record gives records";
  return {};
}

void run_convert(Session& session, Request& request) {
  auto& conversion = request.conversion;
  conversion.from = &request.records.form();
  conversion.to = flow::find_form(request.to);
  const auto engine = session.engine({{conversion.from}, {conversion.to, false}});
  if (!engine) return session.fail(engine.error());
  request.records.tell(conversion.options);
  conversion.keep_rejects = !request.rejects.empty();
  conversion.keep_unread = !request.unread.empty();
  if (const auto conflict = contradiction(request); !conflict.empty()) {
    return session.fail({Error::usage, conflict, {}, 0, 0, "leave one of them out"});
  }
  auto let = selected(request.records.let);
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
  std::unique_ptr<flow::OutputFile> unread;
  if (conversion.keep_unread) {
    auto opened = flow::OutputFile::open(request.unread);
    if (!opened) return session.fail(opened.error());
    unread = std::move(*opened);
  }
  std::unique_ptr<flow::OutputFile> out;
  std::unique_ptr<flow::BulkFolder> folder;
  if (conversion.options.pack == "bulk") {
    auto opened = flow::BulkFolder::open(request.out);
    if (!opened) return session.fail(opened.error());
    folder = std::move(*opened);
  } else {
    auto opened = flow::OutputFile::open(request.out);
    if (!opened) return session.fail(opened.error());
    out = std::move(*opened);
  }

  flow::Tally tally;
  const bool done = run_batches(
      session, request.records, [&] { return std::make_unique<flow::Converter>(**engine, conversion); },
      [&](flow::Batch& batch) -> Outcome {
        if (unread != nullptr) {
          if (auto kept = unread->write(batch.unread); !kept) return kept;
        }
        return folder != nullptr ? folder->place(batch) : out->write(batch.out);
      },
      rejects.get(), **findings, tally, out.get());
  if (!done) return;
  // The output comes last: when it is there, what belongs to it is, too.
  for (auto* beside : {rejects.get(), unread.get()}) {
    if (beside == nullptr) continue;
    if (auto finished = beside->finish(); !finished) return session.fail(finished.error());
  }
  if (auto finished = (*findings)->finish(); !finished) return session.fail(finished.error());
  auto finished = folder != nullptr ? folder->finish(tally.written, flow::digest_of(**session.tables())) : out->finish();
  if (!finished) return session.fail(finished.error());
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
  add_form_option(*command, "--to", request->to, "the form that goes out; record is the canonical text")->required();
  add_mapping_options(*command, request->conversion.options);
  command->add_option("--pack", request->conversion.options.pack,
                      "one transaction or collection Bundle a visit; bulk: -o names a folder, one file a resource type")
      ->check(CLI::IsMember({"transaction", "collection", "bulk"}))
      ->capture_default_str();
  command->add_flag("--pretty", request->conversion.pretty, "spread over lines, for people");
  command->add_option("-o,--output", request->out, "write to this file, which appears whole or not at all (default: standard output)");
  command->add_option("--rejects", request->rejects, "write what was held back here, as it came, each with its findings");
  command->add_option("--keep-unread", request->unread,
                      "write what no template understood here, one part a line, with its place");
  command->add_option("--replaces", request->replaces,
                      "the file of records that was sent before: what amended records no longer say is withdrawn");
  command->footer("Examples:\n"
                  "  charpie convert visits.ndjson --to fhir-r4 -o visits.fhir.ndjson --rejects held-back.ndjson\n"
                  "  charpie convert visits.ndjson --to fhir-r4 --pack bulk -o visits-bulk\n"
                  "  charpie convert today.ndjson --to fhir-r4 --replaces yesterday.ndjson\n"
                  "  charpie convert bundles.ndjson --from fhir-r4 --to record\n"
                  "Default: one transaction Bundle a visit and line, in the order of the input. A line of the rejects file is\n"
                  "{\"record\": as it came, \"findings\": [...]}, with \"text\" or \"base64\" in place of \"record\" where the\n"
                  "input is no JSON. Exit: 0 clean, 1 the data has errors, 2 wrong usage, 3 cannot read or write, 4 the\n"
                  "mapping is broken.");
  command->callback([request, &session] { run_convert(session, *request); });
}

}  // namespace charpie::cli
