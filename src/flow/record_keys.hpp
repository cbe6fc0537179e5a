// A record's key (source system and id) must not stand for two wounds: what is made of it in FHIR is told by
// the key, so the second would be written over the first. Each run remembers the keys that went on, and for
// which wound; a later record of another wound is found out.
//
// The workers cannot know: each sees its own batches. So a worker leaves the keys of a batch in it; the stage
// where batches come in order compares them, and when it has something to say about a record it notes that in
// the batch, which is worked on once more. Whatever follows from it (findings, rejects, answers, resources,
// counts) comes about as with any other finding. Such batches are rare, and the result is the same for any
// number of threads.
#pragma once
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

#include "flow/batch.hpp"
#include "record/record.hpp"

namespace charpie::flow {

/// The key of a record and its wound, each as the first 64 bits of a SHA-256, which is the same in each run.
/// That two of a million keys agree by chance is less likely than one in ten million. `name_space` stands for
/// a source that names no system; `place` is that of the record in its batch.
KeptKey key_of(const record::Record& record, std::string_view name_space, std::uint64_t place);

/// The keys of one run: 16 bytes each, 24 MiB at most.
class RecordKeys {
 public:
  /// As many as stand in 24 MiB with one place in eight left free, so that searches stay short.
  static constexpr std::size_t most_keys = 1'376'256;
  explicit RecordKeys(std::size_t most = most_keys) : most_(most) {}

  enum class Met {
    first,      // a new key, which is kept
    last,       // the same, and no other will be
    not_kept,   // a new key after the last
    again,      // with the same wound
    elsewhere,  // with another wound
  };
  /// Keeps the key with its wound unless it is there.
  Met meet(std::uint64_t key, std::uint64_t wound);
  std::size_t size() const { return count_; }
  std::size_t bytes() const { return entries_.size() * sizeof(Entry); }

  /// Compares the keys of a batch whose turn it is, and notes in it what is to be told of its records.
  /// Whether that is anything: then the batch is to be worked on again, and not to be reviewed again.
  bool review(Batch& batch);

  /// For runs that can go on when they were killed (flow/journal.hpp): from here on new keys are listed.
  void list_new() { listing_ = true; }
  /// Those since the last call, key and wound by turns.
  std::vector<std::uint64_t> take_new() { return std::exchange(new_, {}); }
  /// Takes up what take_new() gave in the killed run.
  void restore(const std::vector<std::uint64_t>& listed);

 private:
  struct Entry {
    std::uint64_t key = 0, wound = 0;  // key 0: free
  };
  Entry& place_of(std::uint64_t key);
  void grow();
  std::vector<Entry> entries_;
  std::size_t count_ = 0, most_;
  bool listing_ = false;
  std::vector<std::uint64_t> new_;
};

}  // namespace charpie::flow
