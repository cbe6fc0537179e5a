// The versions of records that were sent before, so that what an amended record no longer says can be
// withdrawn (design: amended lists).
#pragma once
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/uuid.hpp"
#include "flow/piece_reader.hpp"
#include "record/record.hpp"

namespace charpie::flow {

/// An index of a file of records. Holds 40 bytes a record, not the records: they are read again when asked
/// for. Read-only after opening, safe to share between threads.
class OldVersions {
 public:
  /// Reads the file once. Where a record stands there more than once, the last counts. Records that cannot be
  /// read are passed over. Error::unreadable; Error::usage when it is no regular file (it must be read
  /// twice).
  static Result<std::unique_ptr<OldVersions>> open(const std::string& path, const Engine& engine,
                                                   const std::string& name_space);
  ~OldVersions();
  OldVersions(const OldVersions&) = delete;
  OldVersions& operator=(const OldVersions&) = delete;

  /// Puts the bytes of the old version of that record in `piece`; false when there is none, or when the file
  /// can no longer be read there.
  bool find(const record::Record& record, syntax::JsonPiece& piece) const;
  const std::string& file() const { return file_; }

 private:
  struct Row {
    Uuid key;
    std::uint64_t offset = 0;
    std::uint64_t size = 0;
    std::uint64_t line = 0;
  };
  OldVersions() = default;
  Uuid key_of(const record::Record& record) const;
  int descriptor_ = -1;
  std::string file_, name_space_;
  std::vector<Row> rows_;  // sorted by key
};

}  // namespace charpie::flow
