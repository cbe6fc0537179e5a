// charpie explain: for one record, where each element of the output comes from.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>

#include "cli/columns.hpp"
#include "cli/commands.hpp"
#include "cli/record_options.hpp"
#include "flow/explanation.hpp"
#include "flow/find_record.hpp"
#include "flow/round_trip.hpp"
#include "record/nearest.hpp"

namespace charpie::cli {

namespace {

struct Request {
  std::vector<std::string> files{};
  std::string key{};
  std::string from = "record";
  std::string to = "fhir-r4";
  std::string field{};
  std::string as = "text";
  mapping::Options options{};
};

std::string origin(const flow::ExplainedElement& element) {
  if (element.fields.empty()) return element.derived ? "(from the source's keys)" : "(fixed)";
  std::string text;
  for (const auto& field : element.fields) text += (text.empty() ? "" : ", ") + field;
  return element.mirror ? text + " (copy)" : text;
}

bool is_masked(const flow::ExplainedElement& element, bool show_keys) {
  if (show_keys) return false;
  if (std::any_of(element.fields.begin(), element.fields.end(), is_identifier)) return true;
  // How a server is asked for a Patient names the identifier, too.
  return element.resource_type == "Patient" && element.element.starts_with("request.");
}

void write_text(std::ostream& out, const std::vector<flow::ExplainedElement>& elements, bool show_keys) {
  std::size_t entry = elements.size() + 1;
  for (const auto& one : elements) {
    if (one.entry != entry && !one.resource_type.empty()) {
      entry = one.entry;
      out << "Bundle.entry[" << entry << "] " << one.resource_type << '\n';
    }
    out << "  " << padded(one.element, 44)
        << padded(is_masked(one, show_keys) ? std::string(masked) : one.value, 32) << padded(origin(one), 28)
        << one.file << ':' << one.line << '\n';
  }
}

void write_lines(std::ostream& out, const std::vector<flow::ExplainedElement>& elements, bool show_keys) {
  for (const auto& one : elements) {
    nlohmann::ordered_json line = {
        {"element", one.resource_type.empty()
                        ? one.element
                        : "Bundle.entry[" + std::to_string(one.entry) + "]." +
                              (one.element.starts_with("request.") || one.element == "fullUrl"
                                   ? one.element
                                   : "resource." + one.element)},
        {"value", is_masked(one, show_keys) ? std::string(masked) : one.value},
        {"fields", one.fields},
        {"origin", !one.fields.empty() ? one.mirror ? "copy" : "home"
                   : one.derived       ? "keys"
                                       : "fixed"},
        {"file", one.file},
        {"line", one.line}};
    out << line.dump() << '\n';
  }
}

bool is_field(std::string_view path) {
  return record::find_field(record::without_indexes(path)) != nullptr;
}

// Which field was probably meant: of the group that the path names, else of any.
std::string nearest(std::string_view path) {
  const std::string plain = record::without_indexes(path);
  const auto dot = plain.rfind('.');
  const auto* group = dot == std::string::npos ? nullptr : record::find_field(plain.substr(0, dot));
  return record::nearest_field(group != nullptr ? *group : record::field(record::FieldId::visit),
                               plain.substr(dot + 1));
}

void run_explain(Session& session, Request& request) {
  if (!request.field.empty() && !is_field(request.field)) {
    return session.fail({Error::usage,
                         "--field " + request.field + " is no field of a record" + nearest(request.field),
                         {},
                         0,
                         0,
                         "charpie schema lists the fields"});
  }
  const auto comes_from = session.form(request.from, true);
  if (!comes_from) return session.fail(comes_from.error());
  const auto goes_to = session.form(request.to, false);
  if (!goes_to) return session.fail(goes_to.error());
  const auto& from = **comes_from;
  const auto& to = **goes_to;
  const auto engine = session.engine({{&from}, {&to, false}});
  if (!engine) return session.fail(engine.error());
  flow::PieceReader reader(**engine, from, request.options);
  flow::Batch batch;
  const auto found = flow::find_record(request.files, from, **engine, reader, request.key, batch);
  if (!found) return session.fail(found.error());
  auto explained = flow::explain_bundle(*found->record, (*engine)->mapping(to), request.options);
  if (!explained) return session.fail(explained.error());
  auto& elements = *explained;
  if (!request.field.empty()) {
    std::erase_if(elements, [&](const flow::ExplainedElement& one) {
      return std::none_of(one.fields.begin(), one.fields.end(),
                          [&](const std::string& field) { return flow::lies_in(field, request.field); });
    });
  }
  if (request.as == "ndjson") {
    write_lines(session.out, elements, session.show_keys);
  } else {
    write_text(session.out, elements, session.show_keys);
  }
}

}  // namespace

void add_explain(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand("explain",
                                     "show for one record which field each element of the output comes from, "
                                     "and by which line of the mapping");
  const auto request = std::make_shared<Request>();
  command
      ->add_option("file", request->files,
                   "a file of records, or what else the form is read from; - = standard input")
      ->required();
  command->add_option("--record", request->key, "the record's key; without it the first record");
  add_form_option(*command, "--from", request->from, "the form that comes in")->capture_default_str();
  add_form_option(*command, "--to", request->to, "the form to explain", true)->capture_default_str();
  command->add_option("--field", request->field,
                      "only what comes from this field, such as size.length or spaces[1]");
  command->add_option("--as", request->as, "text for people; ndjson, one JSON object an element")
      ->check(CLI::IsMember({"text", "ndjson"}))
      ->capture_default_str();
  add_namespace_option(*command, request->options.name_space);
  add_mapping_options(*command, request->options);
  command->footer(
      "Examples:\n"
      "  charpie explain visits.ndjson --record HSV-4001 --to fhir-r4\n"
      "  charpie explain visits.ndjson --record HSV-4001 --field size\n"
      "Columns: element, value, field, line of the mapping (below mappings/). Fixed elements name their\n"
      "template's line. Patients' identifiers are masked without --show-keys.");
  command->callback([request, &session] { run_explain(session, *request); });
}

}  // namespace charpie::cli
