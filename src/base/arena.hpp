// Memory for one record's worth of work: handed out in pieces, given back all at once.
#pragma once
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <string_view>
#include <type_traits>
#include <vector>

namespace charpie {

/// Bump allocator. Nothing in it is destroyed, so only trivially destructible types go in.
/// Everything handed out lives until reset() or the arena's end. Not for use by two threads at once.
class Arena {
 public:
  Arena() = default;
  Arena(const Arena&) = delete;
  Arena& operator=(const Arena&) = delete;
  Arena(Arena&&) = default;
  Arena& operator=(Arena&&) = default;

  void* allocate(std::size_t size, std::size_t alignment) {
    const auto address = reinterpret_cast<std::uintptr_t>(next_);
    const std::size_t padding = (alignment - address % alignment) % alignment;
    if (next_ == nullptr || static_cast<std::size_t>(end_ - next_) < size + padding)
      return from_new_block(size, alignment);
    char* place = next_ + padding;
    next_ = place + size;
    return place;
  }

  /// A value-initialised T.
  template <class T, class... Arguments>
  T* make(Arguments&&... arguments) {
    static_assert(std::is_trivially_destructible_v<T>);
    return new (allocate(sizeof(T), alignof(T))) T{std::forward<Arguments>(arguments)...};
  }

  /// `count` value-initialised Ts in a row; nullptr when count is 0.
  template <class T>
  T* make_row(std::size_t count) {
    static_assert(std::is_trivially_destructible_v<T>);
    if (count == 0) return nullptr;
    T* row = static_cast<T*>(allocate(sizeof(T) * count, alignof(T)));
    for (std::size_t i = 0; i < count; ++i) new (row + i) T{};
    return row;
  }

  /// A copy of the text that lives as long as the arena's content.
  std::string_view keep(std::string_view text) {
    if (text.empty()) return {};
    char* place = static_cast<char*>(allocate(text.size(), 1));
    std::memcpy(place, text.data(), text.size());
    return {place, text.size()};
  }

  /// Forgets everything, keeps the largest block for the next record.
  void reset();

 private:
  void* from_new_block(std::size_t size, std::size_t alignment);
  struct Block {
    std::unique_ptr<char[]> bytes;
    std::size_t size;
  };
  std::vector<Block> blocks_;
  char* next_ = nullptr;
  char* end_ = nullptr;
};

}  // namespace charpie
