// What every command works with: the tables, the streams, and the exit code. The only folder that prints.
#pragma once
#include <iosfwd>
#include <memory>
#include <string>

#include "base/result.hpp"
#include "base/tables.hpp"

namespace charpie::cli {

/// Exit codes: what a script can act on.
enum Exit : int { clean = 0, data_has_errors = 1, wrong_usage = 2, cannot_read_or_write = 3, mapping_broken = 4, our_bug = 70 };

/// One run of the program.
struct Session {
  std::istream& in;
  std::ostream& out;
  std::ostream& err;
  bool out_is_terminal = false;
  bool err_is_terminal = false;
  bool color = false;          // on standard error
  std::string mappings;        // --mappings DIR; empty = the embedded tables
  int exit_code = clean;

  /// The embedded tables, or those of --mappings. Read once.
  Result<const Tables*> tables();

  /// Says what stopped the work, and sets the exit code that goes with it.
  void fail(const Error& error);

 private:
  std::unique_ptr<Tables> tables_;
};

}  // namespace charpie::cli
