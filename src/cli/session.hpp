// What every command works with: the tables, the streams, and the exit code. The only folder that prints.
#pragma once
#include <initializer_list>
#include <iosfwd>
#include <map>
#include <memory>
#include <string>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "flow/engine.hpp"

namespace charpie::cli {

/// Exit codes: what a script can act on.
enum Exit : int {
  clean = 0,
  data_has_errors = 1,
  wrong_usage = 2,
  cannot_read_or_write = 3,
  mapping_broken = 4,
  our_bug = 70
};

/// One run of the program.
struct Session {
  std::istream& in;
  std::ostream& out;
  std::ostream& err;
  bool out_is_terminal = false;
  bool err_is_terminal = false;
  bool color = false;        // on standard error
  bool show_keys = false;    // patients' identifiers may be shown
  std::string mappings{};    // --mappings DIR; empty = the embedded tables
  std::string site_rules{};  // --rules FILE; empty = the rules as they come
  std::string claim{};       // --claim NAME; empty = no profile is claimed
  int exit_code = clean;

  /// The embedded tables, or those of --mappings. Read once.
  Result<const Tables*> tables();
  /// The form of that name; a site's layout is opened when it is first asked for. `reads`: it is to come in,
  /// else to go out. Error::usage when there is none, or when it goes the other way only.
  Result<const flow::Form*> form(const std::string& name, bool reads);
  /// Everything that conversions to and from these forms rest on, loaded from the tables and proved. Once: a
  /// command asks for all its forms together.
  Result<const flow::Engine*> engine(std::initializer_list<flow::Wanted> wanted = {{&flow::fhir_r4_form()}});

  /// Says what stopped the work, and sets the exit code that goes with it.
  void fail(const Error& error);

  Session(std::istream& in_stream, std::ostream& out_stream, std::ostream& err_stream)
      : in(in_stream), out(out_stream), err(err_stream) {}

 private:
  std::unique_ptr<Tables> tables_;
  std::map<std::string, std::unique_ptr<flow::SiteForm>, std::less<>> sites_;
  std::unique_ptr<flow::Engine> engine_;
};

}  // namespace charpie::cli
