// charpie map trace: for one record, what became of each element of its source.
#include "flow/trace.hpp"

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>

#include "cli/columns.hpp"
#include "cli/commands.hpp"
#include "cli/record_options.hpp"

namespace charpie::cli {

namespace {

struct TraceRequest {
  std::vector<std::string> files{};
  std::string key{};
  std::string from{};
  std::string as = "text";
  mapping::Options options{};
};

// What nobody took may name a patient.
bool is_masked(const flow::TracedElement& one, bool show_keys) {
  return !show_keys && (one.kind == flow::TracedElement::Kind::unread || is_identifier(one.field));
}

std::string written(const mapping::Place& place) {
  return place.file.empty() ? std::string{} : std::string(place.file) + ':' + std::to_string(place.line);
}

void write_text(std::ostream& out, const std::vector<flow::TracedElement>& elements, bool show_keys) {
  constexpr std::size_t place_width = 28, element_width = 28, text_width = 24, field_width = 24,
                        value_width = 32, rule_width = 30;
  for (const auto& one : elements) {
    const bool hidden = is_masked(one, show_keys);
    const bool implied = one.kind == flow::TracedElement::Kind::implied;
    out << padded(implied ? "" : one.file + ':' + std::to_string(one.line), place_width)
        << padded(implied ? "(the layout says it)" : one.element, element_width)
        << padded(hidden ? masked : one.text, text_width);
    if (one.kind == flow::TracedElement::Kind::unread) {
      out << "(nobody took it)\n";
      continue;
    }
    out << padded(one.field, field_width) << padded(hidden ? masked : one.value, value_width)
        << padded(written(one.rule), one.word_row.file.empty() ? 0 : rule_width) << written(one.word_row)
        << '\n';
  }
}

void write_lines(std::ostream& out, const std::vector<flow::TracedElement>& elements, bool show_keys) {
  static constexpr const char* kinds[] = {"taken", "implied", "unread"};
  for (const auto& one : elements) {
    const bool hidden = is_masked(one, show_keys);
    nlohmann::ordered_json line = {{"kind", kinds[static_cast<std::size_t>(one.kind)]},
                                   {"file", one.file},
                                   {"line", one.line},
                                   {"element", one.element},
                                   {"text", hidden ? std::string(masked) : one.text},
                                   {"field", one.field},
                                   {"value", hidden ? std::string(masked) : one.value},
                                   {"rule", written(one.rule)},
                                   {"wordRow", written(one.word_row)}};
    out << line.dump() << '\n';
  }
}

void run_trace(Session& session, const TraceRequest& request) {
  const auto form = session.form(request.from, true);
  if (!form) return session.fail(form.error());
  if ((*form)->is_record()) {
    return session.fail({Error::usage,
                         "--from record: a record is not mapped",
                         {},
                         0,
                         0,
                         "name the form that the file is in"});
  }
  const auto engine = session.engine({{*form}});
  if (!engine) return session.fail(engine.error());
  flow::PieceReader reader(**engine, **form, request.options);
  reader.trace();
  reader.keep_unread();
  flow::Batch batch;
  const auto found = flow::find_record(request.files, **form, **engine, reader, request.key, batch);
  if (!found) return session.fail(found.error());
  const auto elements = flow::trace_record(*found, reader);
  if (request.as == "ndjson") {
    write_lines(session.out, elements, session.show_keys);
  } else {
    write_text(session.out, elements, session.show_keys);
  }
}

}  // namespace

void add_trace(CLI::App& map, Session& session) {
  auto* trace = map.add_subcommand(
      "trace",
      "show for one record what each element of the source became, and by which line of the mapping");
  const auto traced = std::make_shared<TraceRequest>();
  trace->add_option("files", traced->files, "what the form is read from; - = standard input")->required();
  trace->add_option("--record", traced->key, "the record's key; without it the first record");
  add_form_option(*trace, "--from", traced->from, "the form that comes in")->required();
  trace->add_option("--as", traced->as, "text for people; ndjson, one JSON object an element")
      ->check(CLI::IsMember({"text", "ndjson"}))
      ->capture_default_str();
  add_namespace_option(*trace, traced->options.name_space);
  trace->footer(
      "Example:\n  charpie map trace samples/elbtal.csv --from site:elbtal --record EL-0301\n"
      "Columns: where it stands, element, its text, field, what the record says, line of the mapping, row of "
      "the site's\nwords. Then what the layout says by itself, and what nobody took. Copies that are only "
      "compared are left out.\nPatients' identifiers, and what nobody took, are masked without --show-keys.\n"
      "The other way: charpie explain.");
  trace->callback([traced, &session] { run_trace(session, *traced); });
}

}  // namespace charpie::cli
