#include "base/arena.hpp"

#include <algorithm>

namespace charpie {

void* Arena::from_new_block(std::size_t size, std::size_t alignment) {
  constexpr std::size_t smallest = 64 * 1024;
  const std::size_t grown =
      blocks_.empty() ? smallest : std::min<std::size_t>(blocks_.back().size * 2, 1 << 20);
  const std::size_t block_size = std::max(grown, size + alignment);
  blocks_.push_back({std::unique_ptr<char[]>(new char[block_size]), block_size});
  next_ = blocks_.back().bytes.get();
  end_ = next_ + block_size;
  return allocate(size, alignment);
}

void Arena::reset() {
  if (blocks_.empty()) return;
  auto largest = std::max_element(blocks_.begin(), blocks_.end(),
                                  [](const Block& a, const Block& b) { return a.size < b.size; });
  std::iter_swap(blocks_.begin(), largest);
  // One huge record must not hold its memory for the rest of the run.
  if (blocks_.front().size > (4 << 20)) {
    blocks_.clear();
    next_ = end_ = nullptr;
    return;
  }
  blocks_.erase(blocks_.begin() + 1, blocks_.end());
  next_ = blocks_.front().bytes.get();
  end_ = next_ + blocks_.front().size;
}

}  // namespace charpie
