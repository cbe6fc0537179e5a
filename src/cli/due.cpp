// charpie due: which wounds are due when, by the order and the last actual change.
#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>
#include <set>

#include "cli/commands.hpp"
#include "cli/record_options.hpp"
#include "flow/input.hpp"
#include "flow/piece_reader.hpp"
#include "rules/due_list.hpp"

namespace charpie::cli {

namespace {

using Json = nlohmann::ordered_json;
using record::FieldId;
using rules::DueWound;

struct Request {
  std::vector<std::string> files{};
  std::string from = "record";
  std::string as = "text";
};

std::string joined(const std::vector<std::string>& notes) {
  std::string text;
  for (const auto& note : notes) text += (text.empty() ? "" : "; ") + note;
  return text;
}

std::string quoted(const std::string& cell) {
  if (cell.find_first_of(",\"\r\n") == std::string::npos) return cell;
  std::string text = "\"";
  for (const char c : cell) text += c == '"' ? std::string("\"\"") : std::string(1, c);
  return text + '"';
}

std::string compared(const DueWound& wound) {
  if (!wound.comparison.comparable) return {};
  return wound.comparison.same ? "as charted" : "charted otherwise";
}

void write_text(Session& session, const std::vector<DueWound>& wounds) {
  for (const auto& one : wounds) {
    session.out << rules::in_words(one.due) << "  ";
    if (session.show_keys) session.out << "patient " << one.patient << ", ";
    session.out << "wound " << one.wound << " (record " << one.record_key << "), changed " << one.changed
                << '\n';
    if (!one.due.rule.empty()) session.out << "    by the order: " << one.due.rule << '\n';
    if (!one.due.why.empty()) session.out << "    " << one.due.why << '\n';
    if (!one.due.latest_by.empty()) session.out << "    at the latest by " << one.due.latest_by << '\n';
    if (!one.charted.empty()) {
      const auto words = compared(one);
      session.out << "    charted: " << one.charted << (words == "charted otherwise" ? " (differs)" : "")
                  << '\n';
    }
    for (const auto& note : one.due.notes) session.out << "    note: " << note << '\n';
  }
  session.out << "Arithmetic on the order and the last charted change; not a medical device. The order and "
                 "the clinician decide.\n";
}

void write_rows(Session& session, const std::vector<DueWound>& wounds, bool csv) {
  if (csv) session.out << "due,latest_by,patient,wound,record,changed,rule,charted,comparison,note\n";
  for (const auto& one : wounds) {
    const auto note = joined(one.due.notes) +
                      (one.due.why.empty() ? "" : (one.due.notes.empty() ? "" : "; ") + one.due.why);
    const std::vector<std::pair<const char*, std::string>> cells = {
        {"due", std::string(rules::in_words(one.due))},
        {"latest_by", one.due.latest_by},
        {"patient", session.show_keys ? one.patient : ""},
        {"wound", one.wound},
        {"record", one.record_key},
        {"changed", one.changed},
        {"rule", one.due.rule},
        {"charted", one.charted},
        {"comparison", compared(one)},
        {"note", note}};
    if (csv) {
      std::string row;
      for (const auto& [name, text] : cells) row += (row.empty() ? "" : ",") + quoted(text);
      session.out << row << '\n';
    } else {
      Json json;
      for (const auto& [name, text] : cells) {
        if (!text.empty()) json[name] = text;
      }
      session.out << json.dump(-1, ' ', false, Json::error_handler_t::replace) << '\n';
    }
  }
}

void run_due(Session& session, const Request& request) {
  const auto comes_from = session.form(request.from, true);
  if (!comes_from) return session.fail(comes_from.error());
  const auto& form = **comes_from;
  const auto engine = session.engine({{&form}});
  if (!engine) return session.fail(engine.error());
  flow::PieceReader reader(**engine, form, {}, {});
  rules::DueList list((*engine)->rules());
  flow::Input input(request.files, (*engine)->cut(form));
  flow::Batch batch;
  std::uint64_t left_out = 0;
  while (true) {
    batch.clear();
    auto filled = input.fill(batch);
    if (!filled) return session.fail(filled.error());
    if (!*filled) break;
    for (std::size_t i = 0; i < batch.count; ++i) {
      const auto records = reader.read(batch.pieces[i], batch.file);
      const auto found = reader.take_findings();
      std::set<std::string_view> blocked;
      for (const auto& one : found) {
        if (one.blocks) blocked.insert(one.record_key);
      }
      if (records.empty()) ++left_out;
      for (const auto& one : records) {
        if (blocked.contains(one.name()) || blocked.contains("")) {
          ++left_out;
        } else if (auto added = list.add(one); !added) {
          return session.fail(added.error());
        }
      }
    }
  }
  const auto wounds = list.finish();
  if (!wounds) return session.fail(wounds.error());
  if (request.as == "text") {
    write_text(session, *wounds);
  } else {
    write_rows(session, *wounds, request.as == "csv");
  }
  if (left_out != 0) {
    session.err << left_out
                << " records were left out because of findings that block them (charpie check tells them)\n";
    session.exit_code = data_has_errors;
  }
}

}  // namespace

void add_due(CLI::App& app, Session& session) {
  auto* command =
      app.add_subcommand("due", "list wounds by when their next dressing change is due, by the order");
  const auto request = std::make_shared<Request>();
  command->add_option("files", request->files, "files of records; - or none = standard input");
  add_form_option(*command, "--from", request->from, "the form that comes in: record, or fhir-r4 (Bundles)")
      ->capture_default_str();
  command->add_option("--as", request->as, "text for people; csv; ndjson, one JSON object a line")
      ->check(CLI::IsMember({"text", "csv", "ndjson"}))
      ->capture_default_str();
  command->footer(
      "Intervals count from the last actual change; slots are the next ones after it; an early change does "
      "not move\n"
      "slots. What was charted is shown beside it and stays. Not a medical device: the order and the "
      "clinician decide.");
  command->callback([request, &session] { run_due(session, *request); });
}

}  // namespace charpie::cli
