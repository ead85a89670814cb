// One recorded note: the bowed string of tests/string, its force on the bridge written down as a microphone would.
//   out      samples at recording_rate, as loud as every other sustained one (rms 0.1); the note's true frequency
//   thread   any; the same every time.  Errors: none.
#pragma once

#include "bowing.hpp"

#include <cstddef>
#include <vector>

namespace bowarm::stand_in
{

inline constexpr double recording_rate = 48000;

struct Recording {
    std::vector<float> samples;
    Hertz frequency;
    std::size_t loop_begin{0}; // equal to the size: it is not played round and round
};

Recording record(const Take& take, Hertz frequency);

} // namespace bowarm::stand_in
