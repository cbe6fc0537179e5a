#include "base/uuid.hpp"

#include <nettle/sha1.h>

#include <array>
#include <cstring>

#include "base/escape.hpp"

namespace charpie {

namespace {

// The two digits of each byte.
constexpr auto digit_pairs = [] {
  std::array<std::array<char, 2>, 256> pairs{};
  for (std::size_t i = 0; i < pairs.size(); ++i)
    pairs[i] = {escaping::hex_lower[i >> 4], escaping::hex_lower[i & 15]};
  return pairs;
}();

}  // namespace

Uuid uuid_v5(const Uuid& space, std::string_view name) {
  sha1_ctx hash;
  sha1_init(&hash);
  sha1_update(&hash, space.bytes.size(), space.bytes.data());
  sha1_update(&hash, name.size(), reinterpret_cast<const std::uint8_t*>(name.data()));
  Uuid uuid;
  sha1_digest(&hash, uuid.bytes.size(), uuid.bytes.data());
  uuid.bytes[6] = static_cast<std::uint8_t>((uuid.bytes[6] & 0x0F) | 0x50);  // version 5
  uuid.bytes[8] = static_cast<std::uint8_t>((uuid.bytes[8] & 0x3F) | 0x80);  // the variant of RFC 4122
  return uuid;
}

void write_uuid(const Uuid& uuid, char* to) {
  for (std::size_t i = 0; i < uuid.bytes.size(); ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) *to++ = '-';
    std::memcpy(to, digit_pairs[uuid.bytes[i]].data(), 2);
    to += 2;
  }
}

std::string uuid_text(const Uuid& uuid) {
  std::string text(uuid_text_length, '\0');
  write_uuid(uuid, text.data());
  return text;
}

std::optional<Uuid> parse_uuid(std::string_view text) {
  if (text.size() != uuid_text_length) return std::nullopt;
  const auto digit = [](char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    return -1;
  };
  Uuid uuid;
  std::size_t at = 0;
  for (std::size_t i = 0; i < uuid.bytes.size(); ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) {
      if (text[at++] != '-') return std::nullopt;
    }
    const int high = digit(text[at]);
    const int low = digit(text[at + 1]);
    if (high < 0 || low < 0) return std::nullopt;
    uuid.bytes[i] = static_cast<std::uint8_t>(high * 16 + low);
    at += 2;
  }
  return uuid;
}

}  // namespace charpie
