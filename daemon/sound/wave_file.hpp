// Mono sound as a RIFF WAVE file of 16-bit samples.
//   in       -1..1; what lies outside is brought to the nearest
//   source   Multimedia Programming Interface and Data Specifications 1.0 (IBM & Microsoft, 1991)
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace bowarm
{

std::vector<std::uint8_t> wave_file(std::span<const float> sound, std::uint32_t rate);

} // namespace bowarm
