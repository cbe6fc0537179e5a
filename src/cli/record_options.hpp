// The options of commands that read records, and the run that they share: files in, workers, output and
// findings.
#pragma once
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "cli/findings_output.hpp"
#include "cli/session.hpp"
#include "flow/convert.hpp"
#include "flow/in_order.hpp"
#include "flow/record_keys.hpp"
#include "flow/source.hpp"

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace charpie::cli {

/// What is read, and what lets it pass.
struct RecordOptions {
  std::vector<std::string> files{};
  std::string from = "record";
  std::string name_space{};
  std::int64_t visit_window = 0;  // minutes
  unsigned jobs = 0;              // 0: one a core, eight at most
  std::size_t sort_memory = 64;   // MiB
  std::vector<std::string> let{};
  FindingsOptions findings{};
  void add_to(CLI::App& command);
  /// What of it mappings must know.
  void tell(mapping::Options& options) const {
    options.name_space = name_space;
    options.visit_window = visit_window;
  }
};

/// An option that names a form: one of flow::forms(), or a site's layout, which Session::form() opens.
/// `outside_only`: our own record is none of them.
CLI::Option* add_form_option(CLI::App& command, const std::string& name, std::string& form,
                             const std::string& help, bool outside_only = false);

/// --namespace, which takes an absolute URI (RFC 3986 section 4.3) or a UUID.
void add_namespace_option(CLI::App& command, std::string& name_space);

/// The mapping's own options, as far as a command takes them.
void add_mapping_options(CLI::App& command, mapping::Options& options);

/// The findings that --let names; nothing when it was not given. Error::usage that names the nearest slug.
Result<std::optional<rules::Selection>> selected(const std::vector<std::string>& slugs);

unsigned job_count(unsigned asked);

/// For runs that can go on when they were killed (flow/journal.hpp).
struct Marks {
  std::uint64_t done = 0;  // batches of an earlier run, and the digest of what they held
  std::string digest{};
  std::function<Outcome(const flow::Batch&)> after{};  // each batch, when all of it is placed
};

/// Runs batches through workers. `keys`: those of the run so far, or null when they are not compared. `place`
/// puts what the batches hold where it belongs; findings go to `findings`. False when the work was stopped by
/// an error, which has been told.
bool run_batches(Session& session, const RecordOptions& options, const flow::MakeWorker& make_worker,
                 const std::function<Outcome(flow::Batch&)>& place, FindingsOutput& findings,
                 flow::Tally& tally, flow::RecordKeys* keys, const flow::OutputFile* reader_gone,
                 const Marks* marks = nullptr);

}  // namespace charpie::cli
