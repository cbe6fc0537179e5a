// A stretch of the input on its way through the workers, and what became of it.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/uuid.hpp"
#include "record/finding.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// One resource among the bytes of a batch, for packs that sort resources into files.
struct PlacedResource {
  std::string_view type;  // lives as long as the mapping
  bool shared = false;    // outlives its visit: written once, however many visits name it
  Uuid uuid;
  std::size_t begin = 0, end = 0;  // in Batch::out
};

/// The key of a record that went on, and its wound (flow/record_keys.hpp).
struct KeptKey {
  std::uint64_t key = 0, wound = 0;
  std::uint64_t place = 0;  // of the record in the batch, counted as Tally::records is
  bool amends = false;      // it says that it stands for an earlier one
};

/// What shows only beside other batches: a finding of the record at that place.
struct ToldInOrder {
  std::uint64_t place = 0;
  record::FindingId id{};
  bool amends = false;  // KeptKey::amends
};

/// What is counted while records pass.
struct Tally {
  std::uint64_t records = 0;      // read, or broken where a record should stand
  std::uint64_t written = 0;      // gone on
  std::uint64_t rejected = 0;     // held back by a finding that blocks
  std::uint64_t differing = 0;    // came back changed (round trip)
  std::uint64_t not_carried = 0;  // values that the target does not hold as they are (round trip)
  std::uint64_t let_pass = 0;     // came back as they were read, but not all was read (round trip)
  Tally& operator+=(const Tally& other) {
    records += other.records;
    written += other.written;
    rejected += other.rejected;
    differing += other.differing;
    not_carried += other.not_carried;
    let_pass += other.let_pass;
    return *this;
  }
};

/// Batches are reused, so that the memory of their strings is. A batch is in one hand at a time.
struct Batch {
  std::string file{};                       // for messages
  std::vector<syntax::JsonPiece> pieces{};  // the first `count` are of this round
  std::size_t count = 0;
  std::uint64_t number = 0;  // of the batch in its input, from 1, and the digest of the input up to its
  std::string digest{};      // end, where marks are kept (flow/journal.hpp)

  std::string out{};      // what goes to the output
  std::string rejects{};  // what goes to the rejects file
  std::string unread{};   // what goes to the file of parts that nobody understood
  std::string answers{};  // to messages of HL7 version 2 (flow/acknowledge.hpp)
  std::vector<record::Finding> findings{};
  std::vector<PlacedResource> resources{};  // in `out`, for --pack bulk
  std::string notes{};                      // for the history of wounds (rules/history.hpp), when asked for
  Tally tally{};
  std::vector<KeptKey> keys{};
  std::vector<ToldInOrder> told{};  // to the worker, when the batch comes to it again

  /// Forgets what became of the pieces, so that they can be worked on again.
  void clear_work();
  /// Forgets the round; lets go of memory that only an unusually long record needed.
  void clear();
};

/// Gives batches, one after the other.
class BatchSource {
 public:
  virtual ~BatchSource() = default;
  /// Fills pieces and count of a cleared batch; false at the end. An error ends the work.
  virtual Result<bool> fill(Batch& batch) = 0;
};

/// Fills a cleared batch with visits that were put together, as many as make good work; false at the end.
/// `next` gives the next piece, which says where it came from, or false.
template <class Next>
Result<bool> fill_with(Batch& batch, const Next& next) {
  constexpr std::size_t most_pieces = 16, enough_bytes = 256u << 10;
  std::size_t bytes = 0;
  while (batch.count < most_pieces && bytes < enough_bytes) {
    if (batch.count == batch.pieces.size()) batch.pieces.emplace_back();
    auto& piece = batch.pieces[batch.count];
    const auto more = next(piece);
    if (!more) return more.error();
    if (!*more) break;
    if (batch.count == 0) batch.file = piece.parts.front().file;
    bytes += piece.bytes.size();
    ++batch.count;
  }
  return batch.count != 0;
}

/// Does the work on batches. One for each thread.
class Worker {
 public:
  virtual ~Worker() = default;
  /// Turns pieces into output, rejects and findings. Touches nothing that another worker touches.
  virtual void work(Batch& batch) = 0;
};

}  // namespace charpie::flow
