// SHA-256 (FIPS 180-4), computed by nettle.
#pragma once
#include <nettle/sha2.h>

#include <cstdint>
#include <string>
#include <string_view>

#include "base/tables.hpp"

namespace charpie {

/// Takes bytes piece by piece.
class Sha256 {
 public:
  Sha256() { sha256_init(&state_); }
  void update(std::string_view bytes) {
    sha256_update(&state_, bytes.size(), reinterpret_cast<const std::uint8_t*>(bytes.data()));
  }
  /// 64 lower-case hexadecimal digits of all bytes so far; starts anew.
  std::string hex();
  /// The number that the first 16 of these digits write; starts anew.
  std::uint64_t first_64_bits();
  /// The same without starting anew.
  std::string so_far() const { return Sha256(*this).hex(); }

 private:
  sha256_ctx state_;
};

/// One digest over all tables: path, length and bytes of each, in path order. Two runs with the same digest
/// map alike.
std::string digest_of(const Tables& tables);

}  // namespace charpie
