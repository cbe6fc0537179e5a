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
