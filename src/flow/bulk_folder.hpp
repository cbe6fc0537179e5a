// --pack bulk: a folder with one NDJSON file a resource type, and a manifest. The folder appears whole or not
// at all.
#pragma once
#include <array>
#include <map>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <unordered_set>
#include <vector>

#include "base/digest.hpp"
#include "flow/batch.hpp"
#include "flow/output_file.hpp"
#include "flow/output_folder.hpp"

namespace charpie::flow {

/// Takes batches in order; files keep the order of the visits. A resource that outlives its visit (a wound's
/// Condition, a Patient) is written where it is first met and not again: for that the folder remembers its
/// 16-byte UUID, about 40 bytes of memory a wound. All else is flat.
class BulkFolder {
 public:
  /// Error::unwritable when the folder cannot be made; Error::usage when `path` exists and is no empty
  /// folder. A file that would grow beyond `split` bytes ends, and another begins; 0: one file a type. `mark`
  /// is what mark() gave in a run that was killed: the folder goes on from there; null starts anew. One run
  /// at a time writes a folder (flow/journal.hpp).
  static Result<std::unique_ptr<BulkFolder>> open(const std::string& path, std::uint64_t split,
                                                  const nlohmann::json& mark);

  /// Sorts the batch's resources into their files.
  Outcome place(const Batch& batch);
  /// Lets go of the folder as a killed run would: a later run may go on with it.
  void leave();
  /// Puts all to disk and says how far each file is.
  Result<nlohmann::json> mark();
  /// Writes manifest.json and puts the folder in its place. `mapping_digest` says what the files were made
  /// by.
  Outcome finish(std::uint64_t records, const std::string& mapping_digest);

 private:
  struct TypeFile {
    std::unique_ptr<OutputFile> file;
    std::string name;  // of the file
    std::size_t number = 0;
    Sha256 digest;
    std::string waiting;  // of this batch
    std::uint64_t count = 0, bytes = 0;
    bool shared = false;
  };
  struct UuidHash {
    std::size_t operator()(const Uuid& uuid) const;
  };
  BulkFolder(OutputFolder folder, std::uint64_t split) : folder_(std::move(folder)), split_(split) {}
  // A file that is whole.
  struct Listed {
    std::string file, type;
    std::uint64_t count = 0, bytes = 0;
    std::string digest;
    bool shared = false;
  };
  Outcome write(TypeFile& file);
  Outcome go_on(const nlohmann::json& mark);
  Outcome read_again(const std::string& path, bool shared, Sha256& digest);
  OutputFile::Kept kept(std::uint64_t from = 0) const { return {"bulk", from}; }
  Outcome close(const std::string& type, TypeFile& file);
  OutputFolder folder_;  // outlives the files
  std::uint64_t split_ = 0;
  std::vector<Listed> listed_;
  std::map<std::string, TypeFile, std::less<>> files_;
  std::unordered_set<Uuid, UuidHash> shared_;
};

}  // namespace charpie::flow
