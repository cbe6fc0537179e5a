// How a run that was killed goes on: beside its output it keeps a file of marks. A mark says how much of the
// input was done and how much of each output was on disk by then; a resumed run reads the input up to the
// last mark again without working on it, cuts the outputs back to it, and goes on. So it ends with the same
// bytes as a run that was never killed.
#pragma once
#include <cstdint>
#include <functional>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <string>

#include "base/digest.hpp"
#include "base/result.hpp"
#include "flow/batch.hpp"

namespace charpie::flow {

/// The marks of one run, in a hidden file beside its output: NAME becomes .NAME.journal. As long as the run
/// lives the file is locked, so two runs never write one output.
class Journal {
 public:
  /// Starts a new journal, or goes on with the one that a killed run left (`resume`). `run` is a text of all
  /// that decides the output apart from the input: program, mapping, options. Error::usage when another run
  /// is writing the output, when there is nothing to go on with, and when the killed run was another one;
  /// Error::unwritable. `take` is given each mark of the killed run, in their order.
  static Result<std::unique_ptr<Journal>> open(const std::string& output, const std::string& run, bool resume,
                                               const std::function<void(const nlohmann::json&)>& take = {});
  /// Removes the file: the run ended in one way or the other, and was not killed.
  ~Journal();
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;

  /// The last mark of the killed run; null when it left none, or when this run is a new one.
  const nlohmann::json& last() const;
  /// Keeps the file: this run has changed nothing that it speaks of.
  void leave() { path_.clear(); }
  /// Adds a mark. What it speaks of must be on disk.
  Outcome mark(const nlohmann::json& mark);

 private:
  Journal();
  std::string path_;
  int descriptor_ = -1;
  std::unique_ptr<nlohmann::json> last_;
};

/// Gives the batches of another source and says in each how many there were and the digest of all that they
/// held. The first ones, which were done before, are read and not given.
class MarkedInput final : public BatchSource {
 public:
  /// `rest` must outlive it. `done`: batches to pass over; `digest` is what their bytes must have given.
  explicit MarkedInput(BatchSource& rest, std::uint64_t done = 0, std::string digest = {})
      : rest_(&rest), done_(done), wanted_(std::move(digest)) {}
  /// Error::usage when the input is not the one that the killed run read.
  Result<bool> fill(Batch& batch) override;

 private:
  BatchSource* rest_;
  std::uint64_t done_, count_ = 0;
  std::string wanted_;
  Sha256 digest_;
};

}  // namespace charpie::flow
