// charpie units check | convert | show: unit codes for a person and for a pipe.
#include "units/units.hpp"

#include <CLI/CLI.hpp>
#include <istream>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>
#include <string>
#include <vector>

#include "cli/commands.hpp"
#include "cli/session.hpp"

namespace charpie::cli {

namespace {

using Json = nlohmann::ordered_json;

// One line a value; bytes that are no UTF-8 come out as the replacement character.
void write_line(std::ostream& out, const Json& json) {
  out << json.dump(-1, ' ', false, Json::error_handler_t::replace) << '\n';
}

bool read_line(std::istream& in, std::string& line) {
  if (!std::getline(in, line)) return false;
  if (!line.empty() && line.back() == '\r') line.pop_back();
  return true;
}

std::string in_words(const units::Warning& warning) {
  return warning.meant.empty() ? warning.message : warning.message + "; perhaps meant: " + warning.meant;
}

void check_for_a_pipe(std::ostream& out, std::string_view code, const units::Check& check) {
  Json warnings = Json::array();
  for (const auto& warning : check.warnings) warnings.push_back(in_words(warning));
  write_line(out, {{"code", code},
                   {"valid", check.valid},
                   {"canonical", check.canonical},
                   {"dimension", check.dimension},
                   {"message", check.message},
                   {"suggestions", check.suggestions},
                   {"warnings", std::move(warnings)}});
}

void check_for_a_person(std::ostream& out, std::string_view code, const units::Check& check) {
  if (check.valid) {
    out << code << ": a unit code, in base units " << check.canonical << '\n';
  } else {
    out << code << ": no unit code. " << check.message << '\n';
  }
  for (const auto& code_meant : check.suggestions) out << "  perhaps meant: " << code_meant << '\n';
  for (const auto& warning : check.warnings) out << "  careful: " << in_words(warning) << '\n';
}

int check_codes(Session& session, const units::Units& units, const std::vector<std::string>& codes) {
  bool all_valid = true;
  const bool person = session.out_is_terminal && !codes.empty();
  auto one = [&](std::string_view code) {
    const auto check = units.check(code);
    all_valid = all_valid && check.valid;
    if (person) {
      check_for_a_person(session.out, code, check);
    } else {
      check_for_a_pipe(session.out, code, check);
    }
  };
  for (const auto& code : codes) one(code);
  std::string line;
  while (codes.empty() && session.out && read_line(session.in, line)) one(line);
  return all_valid ? clean : data_has_errors;
}

// Value, from and to of one line, or three arguments.
struct Request {
  std::string value, from, to;
  bool complete = true;
};

Request split(const std::string& line) {
  Request request;
  const auto first = line.find('\t');
  const auto second = first == std::string::npos ? first : line.find('\t', first + 1);
  request.value = line.substr(0, first);
  request.complete = second != std::string::npos && line.find('\t', second + 1) == std::string::npos;
  if (first != std::string::npos)
    request.from = line.substr(first + 1, second == std::string::npos ? second : second - first - 1);
  if (second != std::string::npos) request.to = line.substr(second + 1);
  return request;
}

int convert_values(Session& session, const units::Units& units, const std::vector<std::string>& words) {
  bool all_converted = true;
  const bool person = session.out_is_terminal && !words.empty();
  auto one = [&](const Request& request) {
    auto result =
        request.complete
            ? units.convert(request.value, request.from, request.to, units::Rounding::complete())
            : Result<units::Conversion>(Error{
                  Error::invalid, "a line holds value, unit and unit, with tabs between them", {}, 0, 0, {}});
    all_converted = all_converted && result;
    if (person) {
      if (result) {
        session.out << request.value << ' ' << request.from << (result->exact ? " = " : " is about ")
                    << result->text << ' ' << request.to << '\n';
      } else {
        session.out << result.error().message << '\n';
      }
      return;
    }
    Json json = {{"value", request.value}, {"from", request.from}, {"to", request.to}};
    if (result) {
      json["result"] = result->text;
      json["exact"] = result->exact;
    } else {
      json["error"] = result.error().message;
    }
    write_line(session.out, json);
  };
  if (!words.empty()) one({words[0], words[1], words[2]});
  std::string line;
  while (words.empty() && session.out && read_line(session.in, line)) one(split(line));
  return all_converted ? clean : data_has_errors;
}

int show_code(Session& session, const units::Units& units, const std::string& code) {
  const auto explained = units.explain(code);
  if (!explained) {
    session.out << explained.error().message << '\n';
    for (const auto& meant : units.suggest(code)) session.out << "  perhaps meant: " << meant << '\n';
    return data_has_errors;
  }
  auto& out = session.out;
  out << code << ": " << explained->reading << '\n';
  if (!explained->kind.empty()) out << "  measures: " << explained->kind << '\n';
  out << "  dimension: " << explained->dimension << '\n';
  if (!explained->factor.empty()) {
    out << "  1 " << code << " = " << explained->factor;
    if (explained->canonical != "1") out << ' ' << explained->canonical;
    out << '\n';
  } else {
    out << "  in base units: " << explained->canonical << '\n';
  }
  out << "  definitions:\n";
  for (const auto& step : explained->steps) {
    out << "    " << step.symbol << " (" << step.name << ", " << step.kind << "): " << step.definition
        << '\n';
    if (!step.note.empty()) out << "      " << step.note << '\n';
  }
  for (const auto& warning : units.warnings(code)) out << "  careful: " << in_words(warning) << '\n';
  return clean;
}

// Loads the tables, then runs; a broken table is told and ends the command.
template <class Run>
void with_units(Session& session, Run run) {
  const auto tables = session.tables();
  if (!tables) return session.fail(tables.error());
  const auto units = units::Units::load(**tables);
  if (!units) return session.fail(units.error());
  session.exit_code = run(*units);
}

}  // namespace

void add_units(CLI::App& app, Session& session) {
  auto* command =
      app.add_subcommand("units", "check, convert and explain unit codes (UCUM 2.2, case-sensitive)");
  command->require_subcommand(1);

  struct Words {
    std::string value, from, to, shown;
  };
  auto words = std::make_shared<Words>();

  auto* check = command->add_subcommand(
      "check", "is it a unit code, and if not, what was meant? One code a line, or arguments");
  // The codes are what is left over: of an option's arguments CLI11 takes the brackets of "[in_i]" off, as of
  // a list.
  check->allow_extras()->fallthrough(false);
  check->footer("CODE ...: unit codes as arguments; none = one a line from standard input");
  check->callback([&session, check] {
    with_units(session,
               [&](const units::Units& units) { return check_codes(session, units, check->remaining()); });
  });

  auto* convert = command->add_subcommand(
      "convert",
      "convert exactly: value<TAB>unit<TAB>unit a line, or three arguments. What does not end is rounded "
      "half-even to 17 significant digits and marked inexact");
  auto* value =
      convert->add_option("VALUE", words->value, "a decimal; none of the three = from standard input");
  auto* from = convert->add_option("FROM", words->from, "the unit it was charted in");
  auto* to = convert->add_option("TO", words->to, "the unit wanted");
  value->needs(from)->needs(to);
  convert->callback([&session, words, value] {
    std::vector<std::string> conversion;
    if (value->count() > 0) conversion = {words->value, words->from, words->to};
    with_units(session,
               [&](const units::Units& units) { return convert_values(session, units, conversion); });
  });

  auto* show = command->add_subcommand("show", "what a unit code means, down to base units");
  show->add_option("CODE", words->shown, "a unit code")->required();
  show->callback([&session, words] {
    with_units(session, [&](const units::Units& units) { return show_code(session, units, words->shown); });
  });
}

}  // namespace charpie::cli
