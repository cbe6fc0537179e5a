// charpie schema: the shape of the record, for other people's tools and for readers.
#include "record/schema.hpp"

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>

#include "cli/commands.hpp"
#include "cli/session.hpp"
#include "terms/terms.hpp"

namespace charpie::cli {

namespace {

void run_schema(Session& session, const std::string& as) {
  if (as == "md") {
    session.out << "# The wound visit record\n\n"
                << record::dictionary_page() << "\n# Findings\n\n"
                << record::findings_page();
    return;
  }
  const auto tables = session.tables();
  if (!tables) return session.fail(tables.error());
  const auto terms = terms::Terms::load(**tables);
  if (!terms) return session.fail(terms.error());
  const auto words = [&](std::string_view name) {
    std::vector<std::string> found;
    if (const auto* domain = terms->domain(name)) {
      for (const auto& one : domain->concepts) found.push_back(one.word);
    }
    return found;
  };
  session.out << record::record_schema(words).dump(2) << '\n';
}

}  // namespace

void add_schema(CLI::App& app, Session& session) {
  auto* command = app.add_subcommand("schema", "publish the shape of the record");
  const auto as = std::make_shared<std::string>("json");
  command
      ->add_option("--as", *as,
                   "json: a JSON Schema (draft 2020-12) with the words of each domain; md: the reference of "
                   "fields and findings")
      ->check(CLI::IsMember({"json", "md"}))
      ->capture_default_str();
  command->footer(
      "Examples:\n  charpie schema > wound-visit.schema.json\n  charpie schema --as md > fields.md");
  command->callback([as, &session] { run_schema(session, *as); });
}

}  // namespace charpie::cli
