// charpie convert: records to FHIR, or to the canonical text of records.
#include "flow/convert.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>
#include <set>

#include "base/digest.hpp"
#include "base/time.hpp"
#include "cli/commands.hpp"
#include "cli/outputs.hpp"
#include "cli/record_options.hpp"
#include "flow/acknowledge.hpp"
#include "flow/file_source.hpp"
#include "flow/journal.hpp"

namespace charpie::cli {

namespace {

struct Request {
  RecordOptions records{};
  flow::Conversion conversion{};
  std::string to{};
  std::string out{};
  std::string rejects{};
  std::string unread{};
  std::string answers{};
  std::string replaces{};
  std::vector<std::string> on_repeat{};
  std::size_t split = 0;
  bool resume = false;
  bool mark_formulas = false;
  std::size_t mark_every = std::size_t{16} << 20;
};

// A file that would be lost because another is written over it; empty when there is none.
std::string overwritten(const Request& request) {
  const std::string outputs[] = {request.out, request.rejects, request.unread, request.answers,
                                 request.records.findings.file};
  for (auto out = std::begin(outputs); out != std::end(outputs); ++out) {
    std::error_code none;
    if (out->empty() || *out == "-" || std::filesystem::is_character_file(*out, none)) continue;
    for (const auto& in : request.records.files) {
      if (std::filesystem::equivalent(in, *out, none)) return *out + " is read and would be written over";
    }
    const auto same_place = [&](const std::string& other) {
      return !other.empty() &&
             std::filesystem::weakly_canonical(other, none) == std::filesystem::weakly_canonical(*out, none);
    };
    if (std::any_of(out + 1, std::end(outputs), same_place))
      return *out + " is named for two outputs, and one would be written over the other";
  }
  return {};
}

// Options that ask for different things; empty when they go together.
std::string contradiction(const Request& request) {
  const bool bulk = request.conversion.options.pack == "bulk";
  if (request.mark_formulas &&
      (!request.conversion.to->is_site || request.conversion.to->syntax != flow::Syntax::csv)) {
    return "--mark-formulas is for CSV that a spreadsheet opens, " + request.to + " is none";
  }
  if (bulk && request.to == "record") return "--pack bulk is for FHIR, --to record gives records";
  if (request.conversion.to->is_site) {
    if (bulk) return "--pack bulk is for FHIR, " + request.to + " has a form of its own";
    if (request.conversion.pretty)
      return "--pretty spreads FHIR and records, " + request.to + " has a form of its own";
    if (!request.replaces.empty()) return "--replaces withdraws FHIR resources, " + request.to + " has none";
  }
  const bool xml = request.conversion.to->syntax == flow::Syntax::xml;
  if (bulk && xml) return "--pack bulk is one resource in JSON a line, " + request.to + " is XML";
  if (xml && request.conversion.pretty) return "--pretty spreads JSON, " + request.to + " is XML";
  if (bulk && request.conversion.pretty) return "--pack bulk writes one resource a line, --pretty spreads it";
  if (request.conversion.options.pack == "batch" && request.conversion.options.refs != "identifier") {
    return "--refs " + request.conversion.options.refs +
           " refers to what a transaction finds, a batch finds nothing (FHIR R4, http.html#brules)";
  }
  if (request.resume && !request.records.findings.known.empty())
    return "--known counts from the start, --resume goes on";
  if (request.resume && (request.conversion.to->is_site || request.conversion.from->is_site))
    return "--resume goes on with records and FHIR, a layout of a site has another form";
  if (request.resume && !flow::is_file_output(request.out))
    return "--resume goes on with a file, name it with -o";
  if (request.split != 0 && !bulk) return "--split cuts the files of --pack bulk";
  if (!request.on_repeat.empty() && (request.to == "record" || !request.conversion.options.has_requests())) {
    return "--on-repeat is for Bundles that say how they are loaded (--pack transaction, batch)";
  }
  const bool stamped = !request.conversion.options.stamp.empty() && request.answers.empty();
  if (request.to == "record" && (!request.conversion.options.labels.empty() || stamped)) {
    return "--label and --stamp stand in FHIR resources, --to record gives records";
  }
  if (!request.answers.empty() &&
      (!request.conversion.from->is_site || request.conversion.from->syntax != flow::Syntax::hl7v2)) {
    return "--ack answers messages of HL7 version 2, --from " + request.records.from + " has none";
  }
  if (!request.replaces.empty() && request.to == "record")
    return "--replaces withdraws FHIR resources, --to record gives records";
  return {};
}

// Each of the option's texts is TYPE=WORD. Error::usage that says what can stand there.
Outcome take_on_repeat(const std::vector<std::string>& texts, const mapping::Mapping& mapping,
                       mapping::Options& options) {
  std::set<std::string> types;
  for (const auto& one : mapping.templates()) {
    if (!one.repeat) types.insert(one.resource_type);
  }
  std::string known;
  for (const auto& type : types) known += (known.empty() ? "" : ", ") + type;
  for (const auto& text : texts) {
    const auto equals = std::min(text.find('='), text.size());
    const auto type = text.substr(0, equals);
    const auto repeat = mapping::find_repeat(equals == text.size() ? "" : text.substr(equals + 1));
    if (!types.contains(type) || !repeat) {
      return Error{Error::usage,
                   "--on-repeat " + text + " is not TYPE=WORD",
                   {},
                   0,
                   0,
                   "TYPE is one of " + known +
                       "; WORD is create-once, update or create: --on-repeat Condition=update"};
    }
    options.on_repeat[type] = *repeat;
  }
  return std::monostate{};
}

// Of the run itself: labels, and when it was. Error::usage.
Outcome take_run(Session& session, const flow::Engine& engine, mapping::Options& options) {
  std::set<std::string> known;
  for (const auto& [key, one] : engine.terms().standards()) {
    if (one.use == "label") known.insert(one.code);
  }
  std::string names;
  for (const auto& one : known) names += (names.empty() ? "" : ", ") + one;
  for (const auto& label : options.labels) {
    if (!known.contains(label))
      return Error{Error::usage, "there is no label '" + label + "'", {}, 0, 0, "one of " + names};
  }
  if (options.stamp.empty()) return std::monostate{};
  const auto tables = session.tables();
  if (!tables) return tables.error();
  options.version = CHARPIE_VERSION;
  options.mapping_digest = digest_of(**tables);
  return std::monostate{};
}

Result<std::string> digest_of_file(const std::string& path) {
  if (path.empty()) return std::string{};
  auto source = flow::FileSource::open(path);
  if (!source) return source.error();
  Sha256 digest;
  std::vector<char> bytes(64u << 10);
  while (true) {
    const auto count = (*source)->read(bytes.data(), bytes.size());
    if (!count) return count.error();
    if (*count == 0) return digest.hex();
    digest.update({bytes.data(), *count});
  }
}

// All that decides the output apart from the input: a resumed run must say the same. The number of threads
// does not.
Result<std::string> run_text(Session& session, const Request& request) {
  const auto& options = request.conversion.options;
  const auto& findings = request.records.findings;
  const auto tables = session.tables();
  if (!tables) return tables.error();
  const auto rules = digest_of_file(session.site_rules);
  if (!rules) return rules.error();
  const auto replaces = digest_of_file(request.replaces);
  if (!replaces) return replaces.error();
  nlohmann::json on_repeat;
  for (const auto& [type, repeat] : options.on_repeat) on_repeat[type] = static_cast<int>(repeat);
  return nlohmann::json{CHARPIE_VERSION,
                        digest_of(**tables),
                        *rules,
                        *replaces,
                        request.records.from,
                        request.to,
                        options.pack,
                        options.refs,
                        options.units,
                        options.name_space,
                        on_repeat,
                        options.labels,
                        options.stamp,
                        request.conversion.pretty,
                        request.split,
                        request.records.let,
                        request.records.visit_window,
                        request.rejects,
                        request.unread,
                        findings.file,
                        findings.as,
                        findings.fail_on,
                        findings.only,
                        findings.skip,
                        session.show_keys,
                        session.claim}
      .dump();
}

nlohmann::json to_json(const flow::Tally& tally) {
  return {tally.records, tally.written, tally.rejected, tally.differing, tally.not_carried};
}

flow::Tally tally_of(const nlohmann::json& json) {
  return {json[0], json[1], json[2], json[3], json[4]};
}

void run_convert(Session& session, Request& request) {
  auto& conversion = request.conversion;
  const auto from = session.form(request.records.from, true);
  if (!from) return session.fail(from.error());
  const auto to = session.form(request.to, false);
  if (!to) return session.fail(to.error());
  conversion.from = *from;
  conversion.to = *to;
  const auto engine = session.engine({{conversion.from}, {conversion.to, false}});
  if (!engine) return session.fail(engine.error());
  request.records.tell(conversion.options);
  conversion.keep_rejects = !request.rejects.empty();
  conversion.keep_unread = !request.unread.empty();
  if (const auto lost = overwritten(request); !lost.empty()) {
    return session.fail({Error::usage, lost, {}, 0, 0, "name another file"});
  }
  if (const auto conflict = contradiction(request); !conflict.empty()) {
    return session.fail({Error::usage, conflict, {}, 0, 0, "leave one of them out"});
  }
  std::optional<TimeReading> stamp;
  if (const auto& text = conversion.options.stamp; !text.empty()) {
    stamp = parse_time(text);
    if (!*stamp || stamp->time.precision < TimePrecision::second) {
      return session.fail({Error::usage,
                           "--stamp " + text + " is no instant",
                           {},
                           0,
                           0,
                           "date, time with seconds, and offset: 2026-03-02T10:30:00+00:00"});
    }
  }
  if (!conversion.to->is_record()) {
    const auto taken =
        take_on_repeat(request.on_repeat, (*engine)->mapping(*conversion.to), conversion.options);
    if (!taken) return session.fail(taken.error());
    if (const auto of_run = take_run(session, **engine, conversion.options); !of_run)
      return session.fail(of_run.error());
  }
  conversion.answer = !request.answers.empty();
  if (stamp && conversion.answer) conversion.answer_time = flow::acknowledging_time(stamp->time);
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
  // A run into a file keeps marks, so that it can go on when it was killed.
  const bool keeps_marks = flow::is_file_output(request.out) && !conversion.to->is_site;
  std::unique_ptr<flow::Journal> journal;
  flow::RecordKeys keys;
  nlohmann::json last;
  std::string run;
  if (keeps_marks) {
    const auto text = run_text(session, request);
    if (!text) return session.fail(text.error());
    keys.list_new();
    auto opened = flow::Journal::open(request.out, *text, request.resume,
                                      [&](const nlohmann::json& mark) { keys.restore(mark.at("keys")); });
    if (!opened) return session.fail(opened.error());
    journal = std::move(*opened);
    last = journal->last();
    run = std::filesystem::path(request.out).filename().string();
  }
  auto opened =
      Outputs::open({.out = request.out,
                     .is_folder = conversion.options.pack == "bulk",
                     .split = request.split,
                     .layout = conversion.to->is_site ? &(*engine)->mapping(*conversion.to) : nullptr,
                     .mark_formulas = request.mark_formulas,
                     .beside = {{request.unread, &flow::Batch::unread, "unread"},
                                {request.answers, &flow::Batch::answers, nullptr},
                                {request.rejects, &flow::Batch::rejects, "rejects"}},
                     .findings = &request.records.findings,
                     .run = run},
                    session, last);
  if (!opened) return session.fail(opened.error());
  Outputs& outputs = **opened;
  flow::Tally tally;
  Marks marks;
  if (!last.is_null()) {
    tally = tally_of(last.at("tally"));
    marks.done = last.at("batches");
    marks.digest = last.at("input");
  }
  std::size_t since = 0;
  bool any = false;  // batch of this run was placed
  marks.after = [&](const flow::Batch& batch) -> Outcome {
    any = true;
    since += batch.out.size() + batch.rejects.size();
    if (since < request.mark_every) return std::monostate{};
    since = 0;
    nlohmann::json mark = {{"batches", batch.number},
                           {"input", batch.digest},
                           {"tally", to_json(tally)},
                           {"keys", keys.take_new()}};
    if (auto synced = outputs.sync(mark); !synced) return synced;
    return journal->mark(mark);
  };
  const bool done = run_batches(
      session, request.records, [&] { return std::make_unique<flow::Converter>(**engine, conversion); },
      [&](flow::Batch& batch) { return outputs.place(batch); }, outputs.findings(), tally, &keys,
      outputs.reader(), keeps_marks ? &marks : nullptr);
  if (!done) {
    // Another input than the killed run's: that run can still go on.
    if (!last.is_null() && !any) {
      journal->leave();
      outputs.leave();
    }
    return;
  }
  if (auto finished = outputs.finish(tally.written, session); !finished)
    return session.fail(finished.error());
  if (request.records.findings.summary) {
    session.err << tally.records << " records, " << tally.written << " converted, " << tally.rejected
                << " rejected\n";
    outputs.findings().write_summary();
  }
  if (outputs.marked() != 0)
    session.err << "cells that got an apostrophe, which stays in them when they are read again: "
                << outputs.marked() << '\n';
  if (tally.rejected != 0 && !outputs.findings().failed())
    session.err << tally.rejected << " held back by findings that were not told\n";
  if (outputs.findings().failed() || tally.rejected != 0) session.exit_code = data_has_errors;
}

}  // namespace

void add_convert(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand(
      "convert", "write records as FHIR, or FHIR as records; what blocks is held back and told");
  // The request lives as long as the command line that refers to it.
  const auto request = std::make_shared<Request>();
  request->records.add_to(*command);
  add_form_option(*command, "--to", request->to, "the form that goes out; record is the canonical text")
      ->required();
  add_mapping_options(*command, request->conversion.options);
  command
      ->add_option("--pack", request->conversion.options.pack,
                   "a Bundle a visit: transaction (all of it is loaded or nothing), batch (each resource for "
                   "itself), collection; "
                   "bulk: -o names a folder, one file a resource type")
      ->check(CLI::IsMember({"transaction", "batch", "collection", "bulk"}))
      ->capture_default_str();
  command
      ->add_option("--on-repeat", request->on_repeat,
                   "TYPE=WORD, what happens when a resource of that type is loaded again: update, "
                   "create-once or create; "
                   "may be repeated (default: a visit's own are updated, those it shares are created once)")
      ->allow_extra_args(false);
  command
      ->add_option("--label", request->conversion.options.labels,
                   "a security label on each resource: HTEST test data, PSEUDED pseudonymized content, …; "
                   "may be repeated")
      ->allow_extra_args(false);
  command->add_option("--stamp", request->conversion.options.stamp,
                      "when this conversion is, with seconds and offset: writes a Provenance beside each "
                      "visit, and a Device; the time of --ack");
  command->add_flag(
      "--resume", request->resume,
      "go on where a run of the same command was killed; its output is the same as if it was not");
  command
      ->add_option("--mark-every", request->mark_every,
                   "how much output lies between two places where --resume can go on: 16MiB")
      ->transform(CLI::AsSizeValue(false));
  command->add_option("--split", request->split, "the size at which the files of --pack bulk are cut: 64MiB")
      ->transform(CLI::AsSizeValue(false));
  command->add_option("--claim", session.claim,
                      "write meta.profile where an instance fits: us-core-9, or wound-draft, which also "
                      "leaves our codes away "
                      "where its profiles allow none; what does not fit is told");
  command->add_flag("--pretty", request->conversion.pretty, "spread over lines, for people");
  command->add_option("-o,--output", request->out,
                      "write to this file, which appears whole or not at all (default: standard output)");
  command->add_option("--rejects", request->rejects,
                      "write what was held back here, as it came, each with its findings");
  command->add_option("--keep-unread", request->unread,
                      "write what no template understood here, one part a line, with its place");
  command->add_flag("--mark-formulas", request->mark_formulas,
                    "in CSV of a site, put an apostrophe in front of text that a spreadsheet may take for a "
                    "formula; it stays in the cell, and how many there were is told");
  command->add_option(
      "--ack", request->answers,
      "answer each message of HL7 version 2 here (MSA, ERR); MSH-7 is --stamp, or the message's own");
  command->add_option(
      "--replaces", request->replaces,
      "the file of records that was sent before: what amended records no longer say is withdrawn");
  command->footer(
      "Examples:\n"
      "  charpie convert visits.ndjson --to fhir-r4 -o visits.fhir.ndjson --rejects held-back.ndjson\n"
      "  charpie convert visits.ndjson --to fhir-r4 --pack bulk -o visits-bulk\n"
      "  charpie convert visits-bulk --from fhir-r4 --to record\n"
      "  charpie convert today.ndjson --to fhir-r4 --replaces yesterday.ndjson\n"
      "  charpie convert bundles.ndjson --from fhir-r4 --to record\n"
      "Default: one transaction Bundle a visit and line, in the order of the input. A line of the rejects "
      "file is\n"
      "{\"record\": as it came, \"findings\": [...]}, with \"text\" or \"base64\" in place of \"record\" "
      "where the\n"
      "input is no JSON. Exit: 0 clean, 1 the data has errors, 2 wrong usage, 3 cannot read or write, 4 the\n"
      "mapping is broken.");
  command->callback([request, &session] { run_convert(session, *request); });
}

}  // namespace charpie::cli
