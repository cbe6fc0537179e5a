// A small generator of numbers that gives the same sequence for the same seed on every machine (splitmix64,
// public domain algorithm by Sebastiano Vigna; the standard library's distributions differ between
// compilers).
#pragma once
#include <cstddef>
#include <cstdint>

namespace charpie::tests {

class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}

  std::uint64_t next() {
    state_ += 0x9E3779B97F4A7C15u;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
  }
  /// 0 to count - 1; count > 0.
  std::size_t below(std::size_t count) { return static_cast<std::size_t>(next() % count); }
  /// first to last, both included.
  int between(int first, int last) {
    return first + static_cast<int>(below(static_cast<std::size_t>(last - first + 1)));
  }
  bool chance(unsigned percent) { return below(100) < percent; }
  template <class Row>
  const auto& one_of(const Row& row) {
    return row[below(static_cast<std::size_t>(row.size()))];
  }

 private:
  std::uint64_t state_;
};

}  // namespace charpie::tests
