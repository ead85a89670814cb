// A Standard MIDI File played by the stand-in, as fast as it can: the same file gives the same sound, sample for sample.
#pragma once

#include "midi/standard_file.hpp"
#include "sounds.hpp"

#include <cstdint>
#include <optional>
#include <vector>

namespace bowarm::stand_in
{

inline constexpr std::uint32_t file_rate = 48000;

// With the ring of the last notes, at most ten seconds of it.
std::vector<float> played(const StandardFile& file, const Sounds& sounds, std::optional<std::uint64_t> reorder);

} // namespace bowarm::stand_in
