// A folder that --pack bulk wrote, read back visit by visit. Its files stand in the same order of visits, so
// this is a merge: one resource of each file is in memory, and about 60 bytes for each resource that several
// visits share.
#pragma once
#include <map>
#include <memory>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/arena.hpp"
#include "base/uuid.hpp"
#include "flow/batch.hpp"
#include "mapping/mapping.hpp"

namespace charpie::flow {

class BulkSet final : public BatchSource {
 public:
  /// Whether the folder holds a manifest of ours.
  static bool is_one(const std::string& folder);
  /// Holds all files against the manifest: number of resources, bytes, SHA-256. Error::invalid that names the
  /// file when one differs, before anything is read; Error::unreadable. `mapping` must outlive the set.
  static Result<std::unique_ptr<BulkSet>> open(const std::string& folder, const mapping::Mapping& mapping);
  ~BulkSet() override;

  /// A piece is the Bundle of one visit. Error::invalid when the files do not stand in one order.
  Result<bool> fill(Batch& batch) override;

 private:
  class Lines;
  struct Shared {
    std::size_t file = 0, line = 0;
    std::uint64_t offset = 0;
    std::size_t size = 0;
  };
  explicit BulkSet(const mapping::Mapping& mapping);
  Result<bool> next_visit(syntax::JsonPiece& piece);
  Outcome note_shared(const std::string& path);

  const mapping::Mapping* mapping_;
  Arena arena_;
  std::vector<std::unique_ptr<Lines>> of_visits_;  // by type; the visits' own panels are the first of theirs
  std::size_t leading_ = 0;                        // the type of the panels
  std::vector<std::string> shared_files_;
  std::vector<int> descriptors_;                    // of shared_files_
  std::unordered_map<std::string, Shared> shared_;  // by "Type/id"
};

}  // namespace charpie::flow
