#include "sound/wave_file.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace bowarm
{
namespace
{

void put(std::vector<std::uint8_t>& bytes, std::string_view text)
{
    for (const char c : text) bytes.push_back(static_cast<std::uint8_t>(c));
}

void put(std::vector<std::uint8_t>& bytes, std::uint32_t value, int count)
{
    for (int i = 0; i < count; ++i) bytes.push_back(static_cast<std::uint8_t>(value >> (8 * i) & 0xFF));
}

} // namespace

std::vector<std::uint8_t> wave_file(std::span<const float> sound, std::uint32_t rate)
{
    const auto data_bytes = static_cast<std::uint32_t>(2 * sound.size());
    std::vector<std::uint8_t> bytes;
    bytes.reserve(44 + data_bytes);
    put(bytes, "RIFF");
    put(bytes, 36 + data_bytes, 4);
    put(bytes, "WAVEfmt ");
    put(bytes, 16, 4);
    put(bytes, 1, 2); // whole numbers
    put(bytes, 1, 2); // one channel
    put(bytes, rate, 4);
    put(bytes, 2 * rate, 4);
    put(bytes, 2, 2);
    put(bytes, 16, 2);
    put(bytes, "data");
    put(bytes, data_bytes, 4);
    for (const float x : sound) put(bytes, static_cast<std::uint32_t>(std::lround(std::clamp(x, -1.0F, 1.0F) * 32767)), 2);
    return bytes;
}

} // namespace bowarm
