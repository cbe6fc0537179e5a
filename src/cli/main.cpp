#include <poll.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <cstdlib>
#include <exception>
#include <iostream>

#include "base/digest.hpp"
#include "cli/commands.hpp"
#include "cli/heap.hpp"
#include "cli/session.hpp"
#include "record/nearest.hpp"
#include "terms/terms.hpp"

namespace charpie::cli {
namespace {

struct Global {
  std::string color = "auto";
  bool version = false;
};

void set_color(Session& session, const Global& global) {
  const char* no_color = std::getenv("NO_COLOR");
  const bool refused = no_color != nullptr && *no_color != '\0';
  session.color = global.color == "always" || (global.color == "auto" && session.err_is_terminal && !refused);
}

// The command that was probably meant by a first word that is none; empty when the first word is one.
std::string unknown_command(const CLI::App& app, int argc, char** argv) {
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--mappings" || word == "--rules" || word == "--color") {
      ++i;
      continue;
    }
    if (word.starts_with('-')) continue;
    std::string nearest;
    std::size_t least = 4;
    for (const auto* command : app.get_subcommands({})) {
      if (command->get_name() == word) return {};
      const auto distance = record::edit_distance(command->get_name(), word);
      if (distance < least) {
        least = distance;
        nearest = command->get_name();
      }
    }
    return "there is no command '" + word + "'" + (nearest.empty() ? "" : "; perhaps meant: " + nearest);
  }
  return {};
}

// Everything that decides what a record becomes.
void write_version(Session& session) {
  const auto tables = session.tables();
  if (!tables) return session.fail(tables.error());
  session.out << "charpie " CHARPIE_VERSION "\nmapping " << digest_of(**tables) << '\n';
  const auto terms = terms::Terms::load(**tables);
  if (!terms) return session.fail(terms.error());
  for (const auto& system : terms->systems()) {
    session.out << system.name << ": " << system.version;
    if (!system.note.empty()) session.out << " (" << system.note << ')';
    session.out << '\n';
  }
}

// Whether the reader of standard output has gone away, which is no failure.
bool nobody_reads() {
  pollfd output{STDOUT_FILENO, POLLOUT, 0};
  return ::poll(&output, 1, 0) > 0 && (output.revents & POLLERR) != 0;
}

int run(int argc, char** argv) {
  Session session(std::cin, std::cout, std::cerr);
  session.out_is_terminal = isatty(STDOUT_FILENO) != 0;
  session.err_is_terminal = isatty(STDERR_FILENO) != 0;
  CLI::App app(
      "Checks wound visit records, maps them to FHIR, and proves that nothing was lost on the way.\n"
      "Not a medical device: it converts and checks what was charted; local policy and the licensed\n"
      "clinician decide.",
      "charpie");
  app.require_subcommand(0, 1);
  app.fallthrough();
  Global global;
  app.add_option("--mappings", session.mappings,
                 "use the tables of this folder instead of the embedded ones");
  app.add_option(
      "--rules", session.site_rules,
      "a site's own severities and limits: a CSV file with the columns of mappings/rules/rules.csv");
  app.add_option("--color", global.color,
                 "colours on standard error: auto, always, never; NO_COLOR is obeyed")
      ->check(CLI::IsMember({"auto", "always", "never"}));
  app.add_flag("--version", global.version, "the program's version and what it maps by");
  app.add_flag("--show-keys", session.show_keys, "show patients' identifiers, which are masked otherwise");
  // Before the command's callback runs.
  app.parse_complete_callback([&] { set_color(session, global); });
  add_check(app, session);
  add_convert(app, session);
  add_roundtrip(app, session);
  add_explain(app, session);
  add_due(app, session);
  add_map(app, session);
  add_schema(app, session);
  add_codes(app, session);
  add_units(app, session);
  try {
    if (const auto message = unknown_command(app, argc, argv); !message.empty()) {
      session.fail({Error::usage, message, {}, 0, 0, "charpie --help lists the commands"});
      return session.exit_code;
    }
    app.parse(argc, argv);
    if (global.version) {
      write_version(session);
    } else if (app.get_subcommands().empty()) {
      std::cerr << app.help();
      return wrong_usage;
    }
  } catch (const CLI::ParseError& error) {
    const int code = app.exit(error);
    if (code != 0) return wrong_usage;
  }
  session.out.flush();
  if (!session.out && !nobody_reads()) {
    session.fail({Error::unwritable, "cannot be written", "(standard output)", 0, 0, {}});
  }
  session.err.flush();
  // The system takes back the tables' memory faster than their destructors would; files are closed by now.
  std::_Exit(session.exit_code);
}

}  // namespace
}  // namespace charpie::cli

int main(int argc, char** argv) {
  charpie::cli::ask_for_huge_pages();
  std::ios::sync_with_stdio(false);
  // Who stops reading our output early has read enough.
  std::signal(SIGPIPE, SIG_IGN);
  try {
    return charpie::cli::run(argc, argv);
  } catch (const std::exception& exception) {
    std::cerr << "charpie: this is a bug of the program: " << exception.what() << '\n';
    return charpie::cli::our_bug;
  }
}
