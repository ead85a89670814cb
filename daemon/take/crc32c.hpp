// CRC-32C (Castagnoli) of a stretch of bytes.
//   source   RFC 3720, 12.1: polynomial 0x1EDC6F41, reflected, first and last complemented; its B.4 has test values
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace bowarm
{

namespace crc32c_detail
{
constexpr std::array<std::uint32_t, 256> table()
{
    std::array<std::uint32_t, 256> rows{};
    for (std::uint32_t byte = 0; byte < 256; ++byte) {
        std::uint32_t remainder = byte;
        for (int bit = 0; bit < 8; ++bit) remainder = (remainder >> 1) ^ ((remainder & 1) != 0 ? 0x82F63B78U : 0U);
        rows[byte] = remainder;
    }
    return rows;
}
inline constexpr std::array<std::uint32_t, 256> rows = table();
} // namespace crc32c_detail

// before: the sum of the bytes in front of these.
constexpr std::uint32_t crc32c(std::span<const std::uint8_t> bytes, std::uint32_t before = 0)
{
    std::uint32_t sum = ~before;
    for (const std::uint8_t byte : bytes) sum = (sum >> 8) ^ crc32c_detail::rows[(sum ^ byte) & 0xFF];
    return ~sum;
}

} // namespace bowarm
