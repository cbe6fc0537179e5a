#include "base/digest.hpp"

namespace charpie {

std::string Sha256::hex() {
  std::uint8_t bytes[SHA256_DIGEST_SIZE];
  sha256_digest(&state_, sizeof bytes, bytes);
  std::string text;
  for (const auto byte : bytes) {
    text += "0123456789abcdef"[byte >> 4];
    text += "0123456789abcdef"[byte & 15];
  }
  return text;
}

std::uint64_t Sha256::first_64_bits() {
  std::uint8_t bytes[sizeof(std::uint64_t)];
  sha256_digest(&state_, sizeof bytes, bytes);
  std::uint64_t number = 0;
  for (const auto byte : bytes) number = number << 8 | byte;
  return number;
}

std::string digest_of(const Tables& tables) {
  Sha256 digest;
  for (const auto& file : tables.files()) {
    digest.update(file.path);
    digest.update(" " + std::to_string(file.text.size()) + "\n");
    digest.update(file.text);
  }
  return digest.hex();
}

}  // namespace charpie
