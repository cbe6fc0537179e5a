#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdlib>
#include <exception>
#include <iostream>

#include "cli/commands.hpp"
#include "cli/session.hpp"

int main(int argc, char** argv) {
  using namespace charpie::cli;
  std::ios::sync_with_stdio(false);
  Session session{std::cin, std::cout, std::cerr};
  session.out_is_terminal = isatty(STDOUT_FILENO) != 0;
  session.err_is_terminal = isatty(STDERR_FILENO) != 0;
  CLI::App app("Checks wound visit records, maps them to FHIR, and proves that nothing was lost on the way.");
  app.require_subcommand(0, 1);
  app.add_option("--mappings", session.mappings, "use the tables of this folder instead of the embedded ones");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const int code = app.exit(error);
    return code == 0 ? clean : wrong_usage;
  }
  return session.exit_code;
}
