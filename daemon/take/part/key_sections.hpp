// Where the key signature changes.
//   in       for each bar how long each pitch class sounds in it, in quarters; the key of the whole
//   out      signatures from bar to bar, the first at bar 0
//   source   none: a change has to spare a page of accidentals and last 16 bars, so that a passage in the dominant keeps its signature
//   thread   any, pure.  Real-time safe: no, it allocates; linear in the bars.  Errors: none.
#pragma once

#include "midi/standard_file.hpp"

#include <array>
#include <span>
#include <vector>

namespace bowarm::part
{

struct KeyFrom {
    std::size_t bar{0};
    KeyChange key;
};

using PitchClasses = std::array<double, 12>; // C first

std::vector<KeyFrom> key_sections(std::span<const PitchClasses> bars, KeyChange whole);

} // namespace bowarm::part
