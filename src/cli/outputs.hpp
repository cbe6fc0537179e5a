// What a conversion writes: the output itself, the findings, and the files beside it. All of it can be
// marked, so that a run that was killed goes on (flow/journal.hpp).
#pragma once
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "cli/findings_output.hpp"
#include "cli/session.hpp"
#include "flow/batch.hpp"
#include "flow/bulk_folder.hpp"
#include "flow/output_file.hpp"
#include "flow/output_folder.hpp"
#include "mapping/document_text.hpp"

namespace charpie::cli {

class Outputs {
 public:
  /// A file beside the output: what it takes of each batch, and what its mark is called.
  struct Beside {
    std::string path{};  // empty: not asked for
    std::string flow::Batch::*text = nullptr;
    const char* mark = nullptr;  // nullptr: it starts anew in each run
  };
  struct Asked {
    std::string out{};       // empty or "-": standard output
    bool is_folder = false;  // of --pack bulk, cut at `split` bytes (0: not)
    std::size_t split = 0;
    const mapping::Mapping* layout = nullptr;  // what goes out are documents of a site
    bool mark_formulas = false;                // in its CSV
    std::vector<Beside> beside{};
    const FindingsOptions* findings = nullptr;
    std::string run{};  // tells runs apart that keep marks; empty: this one keeps none
  };
  /// `last` is the mark of the killed run that this one goes on from, or null. Error::unwritable,
  /// Error::usage.
  static Result<std::unique_ptr<Outputs>> open(const Asked& asked, Session& session,
                                               const nlohmann::json& last);

  FindingsOutput& findings() { return *findings_; }
  /// Puts one batch where it belongs. Findings are told elsewhere.
  Outcome place(flow::Batch& batch);
  /// Whether the reader of the output has gone.
  const flow::OutputFile* reader() const { return out_.get(); }
  /// Puts all to disk and adds to `mark` how far it is.
  Outcome sync(nlohmann::json& mark);
  /// Lets go of everything as a killed run would.
  void leave();
  /// Puts everything in its place, the output last: when it is there, what belongs to it is, too.
  Outcome finish(std::uint64_t written, Session& session);
  /// Cells that were marked as formulas.
  std::size_t marked() const { return site_ ? site_->marked() : 0; }

 private:
  Outputs() = default;
  Outcome put(const std::vector<std::string>& texts);
  struct Opened {
    std::string flow::Batch::*text;
    const char* mark;
    std::unique_ptr<flow::OutputFile> file;
  };
  std::vector<Opened> beside_;
  std::unique_ptr<flow::OutputFile> out_;  // unless a folder
  std::unique_ptr<flow::BulkFolder> folder_;
  std::optional<flow::OutputFolder> tables_;  // of a site whose documents stand in several files
  std::vector<std::unique_ptr<flow::OutputFile>> table_files_;
  std::unique_ptr<FindingsOutput> findings_;
  std::optional<mapping::DocumentOutput> site_;
};

}  // namespace charpie::cli
