// --pack bulk: a folder with one NDJSON file a resource type, and a manifest. The folder appears whole or not at all.
#pragma once
#include <array>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <unordered_set>

#include "flow/batch.hpp"
#include "flow/digest.hpp"
#include "flow/output_file.hpp"

namespace charpie::flow {

/// Takes batches in order. A resource that outlives its visit (a wound's Condition, a Patient) is written where it is
/// first met and not again: for that the folder remembers its 16-byte UUID, about 40 bytes of memory a wound. All else
/// is flat.
class BulkFolder {
 public:
  /// Error::unwritable when the folder cannot be made; Error::usage when `path` exists and is no empty folder.
  static Result<std::unique_ptr<BulkFolder>> open(const std::string& path);
  ~BulkFolder();
  BulkFolder(const BulkFolder&) = delete;
  BulkFolder& operator=(const BulkFolder&) = delete;

  /// Sorts the batch's resources into their files.
  Outcome place(const Batch& batch);
  /// Writes manifest.json and puts the folder in its place. `mapping_digest` says what the files were made by.
  Outcome finish(std::uint64_t records, const std::string& mapping_digest);

 private:
  struct TypeFile {
    std::unique_ptr<OutputFile> file;
    Sha256 digest;
    std::string waiting;  // of this batch
    std::uint64_t count = 0, bytes = 0;
  };
  struct UuidHash {
    std::size_t operator()(const Uuid& uuid) const;
  };
  BulkFolder() = default;
  Outcome write(TypeFile& file);
  std::string target_, temporary_;
  std::map<std::string, TypeFile, std::less<>> files_;
  std::unordered_set<Uuid, UuidHash> shared_;
};

}  // namespace charpie::flow
