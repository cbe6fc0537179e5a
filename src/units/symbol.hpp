// A unit symbol of up to 16 bytes as two machine words, so that looking one up compares words, not text.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace charpie::units {

struct Symbol {
  static constexpr std::size_t longest = 16;
  std::uint64_t head = 0;
  std::uint64_t tail = 0;

  Symbol() = default;
  /// `text` must not be longer than `longest`.
  explicit Symbol(std::string_view text) {
    const std::size_t size = text.size();
    for (std::size_t i = 0; i < size && i < 8; ++i)
      head |= std::uint64_t{static_cast<unsigned char>(text[i])} << (8 * i);
    for (std::size_t i = 8; i < size; ++i)
      tail |= std::uint64_t{static_cast<unsigned char>(text[i])} << (8 * (i - 8));
  }

  bool operator==(const Symbol&) const = default;

  /// The symbol without its first `count` bytes (1 or 2).
  Symbol without(unsigned count) const {
    Symbol rest;
    rest.head = (head >> (8 * count)) | (tail << (64 - 8 * count));
    rest.tail = tail >> (8 * count);
    return rest;
  }

  std::size_t hash() const {
    return static_cast<std::size_t>(((head ^ (tail * 0x9E3779B97F4A7C15u)) * 0xD6E8FEB86659FD93u) >> 40);
  }
};

}  // namespace charpie::units
