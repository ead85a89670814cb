// The tempo map of a Standard MIDI File, for time code.
//   thread   any.  Real-time safe: no.  Errors: a sentence.
#pragma once

#include "hear/timecode_clock.hpp"

#include <filesystem>
#include <string>
#include <variant>
#include <vector>

namespace bowarm
{

std::variant<std::vector<TempoStep>, std::string> song_map_of(const std::filesystem::path& file);

} // namespace bowarm
