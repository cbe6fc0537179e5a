// charpie codes: the words that a record may use and the standard codes that travel beside them.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <ostream>
#include <string>
#include <string_view>

#include "cli/commands.hpp"
#include "cli/session.hpp"
#include "record/nearest.hpp"
#include "terms/publish.hpp"

namespace charpie::cli {

namespace {

using terms::Concept;
using terms::Direction;
using terms::Domain;
using terms::Link;
using terms::Terms;

struct Request {
  std::string domain;  // empty: all of them
  std::string find;    // a word, a part of one, or a standard code
  std::string as = "text";
};

// Columns that line up; displays are in ASCII, so bytes are columns.
std::string padded(std::string_view text, std::size_t width) {
  std::string cell(text);
  if (cell.size() < width) cell.append(width - cell.size(), ' ');
  return cell.append("  ");
}

std::string_view short_name(const Terms& terms, std::string_view uri) {
  for (const auto& system : terms.systems()) {
    if (system.uri == uri) return system.short_name;
  }
  return uri;
}

std::string link_text(const Terms& terms, const Link& link) {
  std::string text(short_name(terms, link.system));
  text.append(" ").append(link.code).append(" ").append(link.standard);
  if (link.direction == Direction::out) text.append("  (broader: sent, not read)");
  if (link.direction == Direction::in) text.append("  (read, not sent: ").append(link.status).append(")");
  return text;
}

// The words of a domain that hold the text, or have it as a standard code; whether there was any.
bool write_words(std::ostream& out, const Terms& terms, const Domain& domain, std::string_view find) {
  const auto wanted = [&](const Concept& entry) {
    // An empty text is found in every word.
    if (entry.word.find(find) != std::string::npos || entry.display.find(find) != std::string::npos)
      return true;
    return std::any_of(domain.links.begin(), domain.links.end(),
                       [&](const Link& link) { return link.index == entry.index && link.code == find; });
  };
  if (std::none_of(domain.concepts.begin(), domain.concepts.end(), wanted)) return false;
  std::size_t word_width = 0;
  std::size_t display_width = 0;
  for (const auto& entry : domain.concepts) {
    if (!wanted(entry)) continue;
    word_width = std::max(word_width, entry.word.size());
    display_width = std::max(display_width, entry.display.size());
  }
  out << domain.name << '\n';
  for (const auto& entry : domain.concepts) {
    if (!wanted(entry)) continue;
    std::string line = "  " + padded(entry.word, word_width) + padded(entry.display, display_width);
    const auto indent = line.size();
    for (const auto& link : domain.links) {
      if (link.index != entry.index) continue;
      line.resize(std::max(line.size(), indent), ' ');
      out << line << link_text(terms, link) << '\n';
      line.assign(indent, ' ');
    }
    if (line.find_first_not_of(' ') != std::string::npos)
      out << line.substr(0, line.find_last_not_of(' ') + 1) << '\n';
  }
  return true;
}

// The codes of questions, panels and the like: no word stands for them, templates name them.
bool write_standards(std::ostream& out, const Terms& terms, std::string_view find) {
  bool any = false;
  for (const auto& [name, standard] : terms.standards()) {
    if (standard.code != find && standard.display.find(find) == std::string::npos) continue;
    if (!any) out << "named by templates (mappings/codes/standard.csv)\n";
    any = true;
    out << "  " << short_name(terms, standard.system) << ' ' << standard.code << ' ' << standard.display
        << "  (" << standard.use << ")\n";
  }
  return any;
}

void write_domains(std::ostream& out, const Terms& terms) {
  std::size_t width = 0;
  for (const auto& domain : terms.domains()) width = std::max(width, domain.name.size());
  for (const auto& domain : terms.domains()) {
    const auto coded = std::count_if(domain.concepts.begin(), domain.concepts.end(),
                                     [](const Concept& entry) { return !entry.code.empty(); });
    out << padded(domain.name, width) << domain.concepts.size() << " words, " << coded
        << " with a standard code\n";
  }
}

// The domain that was probably meant, at most two slips away.
std::string nearest_domain(const Terms& terms, std::string_view name) {
  const Domain* best = nullptr;
  std::size_t least = 3;
  for (const auto& domain : terms.domains()) {
    const auto distance = record::edit_distance(domain.name, name);
    if (distance < least) {
      least = distance;
      best = &domain;
    }
  }
  return best == nullptr ? "charpie codes lists them all" : "perhaps meant: " + best->name;
}

void run_codes(Session& session, const Request& request) {
  const auto tables = session.tables();
  if (!tables) return session.fail(tables.error());
  const auto terms = Terms::load(**tables);
  if (!terms) return session.fail(terms.error());
  if (!request.domain.empty() && terms->domain(request.domain) == nullptr) {
    return session.fail({Error::usage,
                         "there is no domain '" + request.domain + "'",
                         {},
                         0,
                         0,
                         nearest_domain(*terms, request.domain)});
  }
  if (request.as != "text" && !request.find.empty()) {
    return session.fail({Error::usage, "--find goes with --as text only", {}, 0, 0, "leave one of them out"});
  }
  if (request.as == "csv") {
    session.out << terms::codes_as_csv(*terms, request.domain);
    return;
  }
  if (request.as == "fhir") {
    session.out << terms::codes_as_fhir(*terms, request.domain).dump(2) << '\n';
    return;
  }
  if (request.domain.empty() && request.find.empty()) return write_domains(session.out, *terms);
  bool found = false;
  for (const auto& domain : terms->domains()) {
    if (!request.domain.empty() && domain.name != request.domain) continue;
    found = write_words(session.out, *terms, domain, request.find) || found;
  }
  if (request.domain.empty()) found = write_standards(session.out, *terms, request.find) || found;
  if (!found) {
    session.fail({Error::invalid,
                  "no word and no standard code is '" + request.find + "'",
                  {},
                  0,
                  0,
                  "try a part of the word, or charpie codes for the list of domains"});
  }
}

}  // namespace

void add_codes(CLI::App& app, Session& session) {
  auto* codes = app.add_subcommand("codes", "List the words of a record and the standard codes beside them.");
  // The request lives as long as the command line that refers to it.
  const auto request = std::make_shared<Request>();
  codes->add_option("domain", request->domain, "one domain, such as exudate-type; without it, all of them");
  codes->add_option("--find", request->find,
                    "only words that hold this text, or that have this standard code");
  codes->add_option("--as", request->as, "text for people; csv; fhir for terminology resources in R4")
      ->check(CLI::IsMember({"text", "csv", "fhir"}))
      ->capture_default_str();
  codes->callback([request, &session] { run_codes(session, *request); });
}

}  // namespace charpie::cli
