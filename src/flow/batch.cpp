#include "flow/batch.hpp"

namespace charpie::flow {

namespace {

// A batch of ordinary records needs about 1 MiB of output.
constexpr std::size_t kept_bytes = 4u << 20;
constexpr std::size_t kept_piece_bytes = 64u << 10;

void forget(std::string& text, std::size_t kept) {
  text.clear();
  if (text.capacity() > kept) text.shrink_to_fit();
}

}  // namespace

void Batch::clear_work() {
  forget(out, kept_bytes);
  forget(rejects, kept_bytes);
  forget(unread, kept_bytes);
  forget(answers, kept_bytes);
  forget(notes, kept_bytes);
  findings.clear();
  resources.clear();
  tally = {};
  keys.clear();
}

void Batch::clear() {
  file.clear();
  for (auto& piece : pieces) forget(piece.bytes, kept_piece_bytes);
  count = 0;
  number = 0;
  told.clear();
  clear_work();
}

}  // namespace charpie::flow
