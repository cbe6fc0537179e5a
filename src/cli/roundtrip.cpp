// charpie roundtrip: the proof, record by record, that nothing was lost on the way there and back.
#include <CLI/CLI.hpp>
#include <memory>
#include <ostream>

#include "cli/commands.hpp"
#include "cli/record_options.hpp"
#include "flow/round_trip.hpp"

namespace charpie::cli {

namespace {

struct Request {
  RecordOptions records{};
  std::string through{};
  mapping::Options options{};
};

/// Fields that hold a patient's identifiers; their values are shown only when asked for.
bool is_identifier(std::string_view path) {
  return path == "patient.id" || path == "encounter.id";
}

class TripWorker final : public flow::Worker {
 public:
  TripWorker(const flow::Engine& engine, const Request& request, const flow::Form& from,
             const flow::Form& through, const std::optional<rules::Selection>& let, bool show_keys)
      : reader_(engine, from, request.options),
        trip_(engine, through, request.options),
        let_(let),
        show_keys_(show_keys) {}

  void work(flow::Batch& batch) override {
    for (std::size_t i = 0; i < batch.count; ++i) work_on(batch.pieces[i], batch);
  }

 private:
  void work_on(const syntax::JsonPiece& piece, flow::Batch& batch) {
    const auto records = reader_.read(piece, batch.file);
    std::vector<flow::TripReport> reports;
    for (const auto& one : records) {
      reader_.begin_findings(one);
      reports.push_back(trip_.send(one, reader_.findings()));
    }
    auto found = reader_.take_findings();
    std::vector<bool> had_to_pass;
    for (const auto& one : records) {
      had_to_pass.push_back(flow::blocks(found, one.name()));
    }
    flow::let_pass(found, let_);
    batch.tally.records += std::max<std::size_t>(records.size(), 1);
    if (records.empty()) ++batch.tally.rejected;
    for (std::size_t i = 0; i < records.size(); ++i) {
      const auto key = records[i].text(record::FieldId::id);
      if (flow::blocks(found, records[i].name())) {
        ++batch.tally.rejected;
        continue;
      }
      ++batch.tally.written;
      batch.tally.not_carried += reports[i].not_carried;
      for (auto& one : reports[i].findings) batch.findings.push_back(std::move(one));
      if (reports[i].same) {
        // What a blocking finding tells of may not be in the record at all, so nothing is proved of it.
        if (had_to_pass[i]) ++batch.tally.let_pass;
        continue;
      }
      ++batch.tally.differing;
      tell(records[i], key, reports[i], batch.out);
    }
    for (auto& one : found) batch.findings.push_back(std::move(one));
  }

  void tell(const record::Record& record, std::string_view key, const flow::TripReport& report,
            std::string& out) const {
    const auto value = [&](const flow::Difference& difference, const std::string& text) -> std::string {
      if (text.empty()) return "(nothing)";
      return is_identifier(difference.path) && !show_keys_ ? "(an identifier; --show-keys shows it)" : text;
    };
    out += record.file;
    out += ':' + std::to_string(record.line) + ": ";
    out += key;
    out += report.trouble.empty() ? " came back changed\n" : ": " + report.trouble + "\n";
    for (const auto& one : report.differences) {
      out += "  " + one.path + "\n    sent       " + value(one, one.sent) + "\n    came back  " +
             value(one, one.came_back) + '\n';
      for (const auto& place : one.where) {
        out += place.mirror ? "    copy in    " : "    stood in   ";
        out += place.element + "  (" + place.file + ':' + std::to_string(place.line) + ")\n";
      }
    }
  }

  flow::PieceReader reader_;
  flow::RoundTrip trip_;
  const std::optional<rules::Selection>& let_;
  bool show_keys_;
};

void run_roundtrip(Session& session, Request& request) {
  const auto comes_from = session.form(request.records.from, true);
  if (!comes_from) return session.fail(comes_from.error());
  for (const bool reads : {true, false}) {
    if (const auto both_ways = session.form(request.through, reads); !both_ways)
      return session.fail(both_ways.error());
  }
  const auto& from = **comes_from;
  const auto& through = **session.form(request.through, true);
  const auto engine = session.engine({{&from}, {&through, false}});
  if (!engine) return session.fail(engine.error());
  request.records.tell(request.options);
  const auto let = selected(request.records.let);
  if (!let) return session.fail(let.error());
  auto findings = FindingsOutput::open(request.records.findings, session);
  if (!findings) return session.fail(findings.error());
  auto out = flow::OutputFile::open({});
  if (!out) return session.fail(out.error());

  flow::Tally tally;
  const bool done = run_batches(
      session, request.records,
      [&] { return std::make_unique<TripWorker>(**engine, request, from, through, *let, session.show_keys); },
      [&](flow::Batch& batch) { return (*out)->write(batch.out); }, **findings, tally, nullptr, out->get());
  if (!done) return;
  if (auto finished = (*findings)->finish(); !finished) return session.fail(finished.error());
  std::string sum = std::to_string(tally.records) + " records, " +
                    std::to_string(tally.written - tally.differing - tally.let_pass) + " came back the same";
  if (tally.differing != 0) sum += ", " + std::to_string(tally.differing) + " changed";
  if (tally.let_pass != 0)
    sum +=
        ", " + std::to_string(tally.let_pass) + " let pass unread: what was read of them came back the same";
  if (tally.rejected != 0)
    sum += ", " + std::to_string(tally.rejected) + " not sent because a finding blocks them";
  if (tally.not_carried != 0) {
    sum += "; " + std::to_string(tally.not_carried) + " values do not travel, as told beforehand (form.…)";
  }
  if (auto told = (*out)->write(sum + '\n'); !told) return session.fail(told.error());
  if (request.records.findings.summary) (*findings)->write_summary();
  const bool all_the_same = tally.differing == 0 && tally.rejected == 0 && tally.let_pass == 0;
  if ((*findings)->failed() || !all_the_same) session.exit_code = data_has_errors;
}

}  // namespace

void add_roundtrip(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand(
      "roundtrip", "send records to another form and back, and tell every field that changed");
  const auto request = std::make_shared<Request>();
  request->records.add_to(*command);
  add_form_option(*command, "--through", request->through, "the form in between", true)->required();
  add_mapping_options(*command, request->options);
  command->footer(
      "Examples:\n"
      "  charpie roundtrip visits.ndjson --through fhir-r4\n"
      "  charpie roundtrip visits.ndjson --through fhir-r4 --units charted --refs include\n"
      "For each record that differs: each field, what was sent, what came back, and where in the instance "
      "it\n"
      "stood. The last line counts. Exit 0 only when every record came back the same.");
  command->callback([request, &session] { run_roundtrip(session, *request); });
}

}  // namespace charpie::cli
