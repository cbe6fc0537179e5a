// Name-based UUIDs, so that ids follow from the source's keys: the same input gives the same bytes.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace charpie {

/// 16 bytes in network order.
struct Uuid {
  std::array<std::uint8_t, 16> bytes{};
  bool operator==(const Uuid&) const = default;
};

/// Length of the text form.
inline constexpr std::size_t uuid_text_length = 36;

/// Version 5 (SHA-1) of a name in a name space: RFC 4122 section 4.3. The name is taken byte by byte. No
/// heap.
Uuid uuid_v5(const Uuid& space, std::string_view name);

/// Writes 36 lower-case characters, 8-4-4-4-12, no terminating NUL.
void write_uuid(const Uuid& uuid, char* to);
std::string uuid_text(const Uuid& uuid);

/// Reads the 36-character form in either case, without "urn:uuid:"; nullopt for anything else.
std::optional<Uuid> parse_uuid(std::string_view text);

/// The name spaces of RFC 4122 appendix C: 6ba7b81X-9dad-11d1-80b4-00c04fd430c8.
inline constexpr Uuid uuid_space_dns{
    {0x6b, 0xa7, 0xb8, 0x10, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8}};
inline constexpr Uuid uuid_space_url{
    {0x6b, 0xa7, 0xb8, 0x11, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8}};
inline constexpr Uuid uuid_space_oid{
    {0x6b, 0xa7, 0xb8, 0x12, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8}};
inline constexpr Uuid uuid_space_x500{
    {0x6b, 0xa7, 0xb8, 0x14, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8}};

}  // namespace charpie
