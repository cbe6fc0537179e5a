// Entries put in order by their keys, within a bound of memory: an external merge sort.
#pragma once
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"

namespace charpie {

/// One entry: ordered by `key`, byte by byte; entries of one key stay in the order in which they were added.
struct SortedEntry {
  std::string_view key, body;
};

/// First add() all entries, then take them with next() or drain(); after the last it is empty and may be
/// filled again. What does not fit the memory goes to temporary files without a name in TMPDIR
/// (POSIX.1-2017, 8.3), so that they are gone with the program, however that ends. For one thread at a time.
///
/// Memory: `memory` bytes, at least one entry and 1 MiB; while temporary files are joined, one entry and a
/// buffer of each, 64 at most.
class ExternalSort {
 public:
  explicit ExternalSort(std::size_t memory);
  ~ExternalSort();
  ExternalSort(const ExternalSort&) = delete;
  ExternalSort& operator=(const ExternalSort&) = delete;

  /// Copies the entry. Key and body hold less than 4 GiB each. Error::unwritable when a temporary file cannot
  /// be written.
  Outcome add(std::string_view key, std::string_view body);
  /// Puts the next entry in `entry`, valid until the next call; false at the end. Error::unreadable when a
  /// temporary file cannot be read back.
  Result<bool> next(SortedEntry& entry);
  /// Gives all entries that are left, in order; they are valid during the call only.
  Outcome drain(const std::function<void(const SortedEntry&)>& take);
  /// How often entries had to go to disk.
  std::size_t spills() const { return spills_; }

 private:
  struct Closer {
    void operator()(std::FILE* file) const { std::fclose(file); }
  };
  using File = std::unique_ptr<std::FILE, Closer>;
  class Reader;
  class Merge;

  static constexpr std::size_t chunk_bytes = 1u << 20;
  static constexpr std::size_t most_files = 64;  // open at once

  void sort();
  void forget_entries();
  Outcome begin_taking();
  Outcome spill();
  Outcome join_files();
  static Outcome write(std::FILE* file, const SortedEntry& entry);

  std::size_t memory_;
  std::vector<std::unique_ptr<char[]>> chunks_;
  char* next_ = nullptr;
  std::size_t room_ = 0;
  std::size_t used_ = 0;
  std::vector<const char*> entries_;  // each: two lengths (4 bytes), key, body
  std::vector<File> files_;           // earlier entries first
  std::unique_ptr<Merge> merge_;      // while entries are taken from files
  std::size_t taken_ = 0;             // of entries_, while they are taken from there
  bool taking_ = false;
  std::size_t spills_ = 0;
};

}  // namespace charpie
