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

namespace charpie::rules {

/// One entry: ordered by `key`, byte by byte.
struct Entry {
  std::string_view key, body;
};

class SortedNotes {
 public:
  explicit SortedNotes(std::size_t memory);
  ~SortedNotes();
  SortedNotes(const SortedNotes&) = delete;
  SortedNotes& operator=(const SortedNotes&) = delete;

  /// Keys must differ. Error::unwritable when a temporary file cannot be written.
  Outcome add(std::string_view key, std::string_view body);
  /// Gives all entries in order; they are valid during the call only. Empties the store.
  Outcome drain(const std::function<void(const Entry&)>& take);
  std::size_t spills() const { return spills_; }

 private:
  struct Closer {
    void operator()(std::FILE* file) const { std::fclose(file); }
  };
  using File = std::unique_ptr<std::FILE, Closer>;
  class Reader;

  static constexpr std::size_t chunk_bytes = 1u << 20;
  static constexpr std::size_t most_files = 64;  // open at once

  void sort();
  Outcome spill();
  static Outcome merge(std::vector<File>& files, const std::function<Outcome(const Entry&)>& take);
  static Outcome write(std::FILE* file, const Entry& entry);

  std::size_t memory_;
  std::vector<std::unique_ptr<char[]>> chunks_;
  char* next_ = nullptr;
  std::size_t room_ = 0;
  std::size_t used_ = 0;
  std::vector<const char*> entries_;  // each: two lengths (4 bytes), key, body
  std::vector<File> files_;
  std::size_t spills_ = 0;
};

}  // namespace charpie::rules
