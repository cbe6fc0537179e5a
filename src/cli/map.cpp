// charpie map: for whoever writes a site's layout: a first draft from a sample, and what a layout makes of
// one; and for whoever must know what we write and read without this program: definitions for terminology
// servers and guides.
#include <CLI/CLI.hpp>
#include <filesystem>
#include <map>
#include <memory>
#include <ostream>

#include "cli/commands.hpp"
#include "cli/record_options.hpp"
#include "flow/coverage.hpp"
#include "flow/draft.hpp"
#include "flow/file_source.hpp"
#include "flow/output_file.hpp"
#include "flow/publish.hpp"

namespace charpie::cli {

namespace {

struct DraftRequest {
  std::vector<std::string> samples{};
  std::string folder{};
  std::string row{};
};

// The files named, or the CSV files of the folder named.
Result<std::vector<flow::SampleFile>> read_samples(const std::vector<std::string>& paths) {
  namespace fs = std::filesystem;
  std::vector<std::string> files = paths;
  std::error_code failure;
  if (paths.size() == 1 && fs::is_directory(paths.front(), failure)) {
    constexpr std::string_view endings[] = {".csv"};
    auto inside = flow::files_in(paths.front(), endings);
    if (!inside) return inside.error();
    if (inside->empty())
      return Error{Error::unreadable,           "holds no .csv file", paths.front(), 0, 0,
                   "name the files of the site"};
    files = std::move(*inside);
  }
  std::vector<flow::SampleFile> samples;
  for (const auto& path : files) {
    auto text = flow::read_whole(path);
    if (!text) return text.error();
    samples.push_back({fs::path(path).filename().string(), std::move(*text)});
  }
  return samples;
}

void run_draft(Session& session, const DraftRequest& request) {
  const auto samples = read_samples(request.samples);
  if (!samples) return session.fail(samples.error());
  const auto tables = session.tables();
  if (!tables) return session.fail(tables.error());
  const auto terms = terms::Terms::load(**tables);
  if (!terms) return session.fail(terms.error());
  static const std::map<std::string, flow::Row> rows = {
      {"", flow::Row::guess}, {"visit", flow::Row::visit}, {"finding", flow::Row::finding}};
  const auto draft = flow::draft_layout(*samples, *terms, rows.at(request.row));
  if (!draft) return session.fail(draft.error());
  for (const auto& one : draft->columns) {
    session.out << one.name << "\n    " << (one.hole.empty() ? "left out" : one.hole) << "  ("
                << flow::confidence_name(one.confidence) << ": " << one.reason << ")\n";
  }
  if (!draft->missing.empty()) {
    session.out << "a record needs these, and nothing was proposed for them:\n";
    for (const auto& field : draft->missing) session.out << "    " << field << '\n';
  }
  std::error_code failure;
  std::filesystem::create_directories(request.folder, failure);
  if (failure)
    return session.fail({Error::unwritable, "the folder cannot be made", request.folder, 0, 0, {}});
  for (const auto& [name, content] : draft->files) {
    const auto path = request.folder + "/" + name;
    if (std::filesystem::exists(path))
      return session.fail({Error::unwritable, "is there already", path, 0, 0, "name a folder that is empty"});
  }
  for (const auto& [name, content] : draft->files) {
    const auto path = request.folder + "/" + name;
    auto file = flow::OutputFile::open(path);
    if (!file) return session.fail(file.error());
    if (auto written = (*file)->write(content); !written) return session.fail(written.error());
    if (auto finished = (*file)->finish(); !finished) return session.fail(finished.error());
  }
  session.out << draft->files.size() << " files in " << request.folder
              << ": decide what says DECLARE or DECIDE, then charpie map check site:"
              << (request.folder.find('/') == std::string::npos ? "./" : "") << request.folder;
  for (const auto& path : request.samples) session.out << ' ' << path;
  session.out << '\n';
}

struct CheckRequest {
  std::string site{};
  std::vector<std::string> samples{};
};

void write_counted(std::ostream& out, std::string_view heading, const flow::Counted& counted) {
  if (counted.empty()) return;
  out << heading << '\n';
  for (const auto& [text, count] : counted) out << "    " << text << "  " << count << '\n';
}

void run_map_check(Session& session, const CheckRequest& request) {
  const auto form = session.form(request.site, true);
  if (!form) return session.fail(form.error());
  const auto engine = session.engine({{*form}});
  if (!engine) return session.fail(engine.error());
  session.out << "the layout is proved\n";
  if (request.samples.empty()) return;
  const auto coverage = flow::cover(request.samples, **engine, **form);
  if (!coverage) return session.fail(coverage.error());
  session.out << coverage->records << " records, " << coverage->blocked << " held back\n";
  write_counted(session.out, "cells without a meaning, by how often:", coverage->words);
  write_counted(session.out, "not read, by how often:", coverage->unread);
  write_counted(session.out, "other findings, by how often:", coverage->findings);
  write_counted(session.out, "fields filled, by records:", coverage->filled);
  if (!coverage->never.empty()) session.out << "fields with a place that no record filled:\n";
  for (const auto& field : coverage->never) session.out << "    " << field << '\n';
  if (coverage->blocked != 0) session.exit_code = data_has_errors;
}

struct PublishRequest {
  std::string as{};
  std::string site{};
};

void run_publish(Session& session, const PublishRequest& request) {
  if (request.as.empty()) {
    return session.fail(
        {Error::usage,
         request.site.empty() ? "map wants to know what to do" : "map has no command '" + request.site + "'",
         {},
         0,
         0,
         "draft, check, trace, or --as fhir [LAYOUT]"});
  }
  if (request.site.empty()) {
    const auto& form = flow::fhir_r4_form();
    const auto engine = session.engine({{&form}});
    if (!engine) return session.fail(engine.error());
    const auto published = flow::extensions_as_fhir((*engine)->mapping(form), *(*engine)->elements(form));
    session.out << published.dump(2) << '\n';
    return;
  }
  if (!flow::names_layout(request.site)) {
    return session.fail({Error::usage,
                         "'" + request.site + "' is no layout",
                         {},
                         0,
                         0,
                         "site:NAME, site:./FOLDER or c-cda; without one: our extensions of FHIR"});
  }
  // Its words are the same whether it is read or written.
  auto form = session.form(request.site, true);
  const auto reads = static_cast<bool>(form);
  if (!reads) form = session.form(request.site, false);
  if (!form) return session.fail(form.error());
  const auto engine = session.engine({{*form, reads}});
  if (!engine) return session.fail(engine.error());
  session.out << flow::words_as_fhir((*engine)->mapping(**form), request.site).dump(2) << '\n';
}

}  // namespace

void add_map(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand("map", "help to write a site's layout; what mappings say, as FHIR");
  command->require_subcommand(0, 1);
  const auto published = std::make_shared<PublishRequest>();
  command->add_option("layout", published->site,
                      "with --as: the layout whose words are told; without one, our extensions of FHIR");
  auto* as = command->add_option(
      "--as", published->as,
      "fhir: R4 resources, StructureDefinitions of extensions or ConceptMaps of a layout's words");
  as->check(CLI::IsMember({"fhir"}));
  command->footer("Example:\n  charpie map --as fhir site:elbtal");
  command->callback([command, published, &session] {
    if (command->get_subcommands().empty()) run_publish(session, *published);
  });
  auto* draft = command->add_subcommand(
      "draft",
      "a first layout from a sample (CSV, one file or several joined by a key; JSON; XML), with reasons");
  draft->excludes(as);
  const auto drafted = std::make_shared<DraftRequest>();
  draft
      ->add_option("samples", drafted->samples,
                   "a file of the site, or the files that belong together, or their folder")
      ->required();
  draft->add_option("-o,--output", drafted->folder, "the folder to write the layout to")->required();
  draft
      ->add_option("--row", drafted->row,
                   "what a row of one CSV file is, where the guess is wrong: visit, finding")
      ->check(CLI::IsMember({"visit", "finding"}));
  draft->footer(
      "Nothing is decided in silence: as long as anything says DECLARE or DECIDE, the layout is refused.\n"
      "Examples:\n  charpie map draft samples/brookfield.csv -o brookfield\n"
      "  charpie map draft samples/birchwood -o own");
  draft->callback([drafted, &session] { run_draft(session, *drafted); });
  auto* check = command->add_subcommand("check", "prove a layout, and tell what it makes of samples");
  check->excludes(as);
  const auto checked = std::make_shared<CheckRequest>();
  check->add_option("layout", checked->site, "site:NAME or site:./FOLDER")->required();
  check->add_option("samples", checked->samples, "files of the site");
  check->footer("Example:\n  charpie map check site:elbtal samples/elbtal.csv");
  check->callback([checked, &session] { run_map_check(session, *checked); });
  add_trace(*command, session);
}

}  // namespace charpie::cli
