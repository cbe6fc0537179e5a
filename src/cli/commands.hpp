// One function a command: each adds its subcommand with its options and what runs when it is chosen.
#pragma once

namespace CLI {
class App;
}

namespace charpie::cli {

struct Session;

void add_check(CLI::App& app, Session& session);
void add_codes(CLI::App& app, Session& session);
void add_convert(CLI::App& app, Session& session);
void add_due(CLI::App& app, Session& session);
void add_explain(CLI::App& app, Session& session);
void add_map(CLI::App& app, Session& session);
void add_roundtrip(CLI::App& app, Session& session);
void add_schema(CLI::App& app, Session& session);
/// A command below `map`.
void add_trace(CLI::App& map, Session& session);
void add_units(CLI::App& app, Session& session);

}  // namespace charpie::cli
