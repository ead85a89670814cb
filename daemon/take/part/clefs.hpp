// Which clef each bar is read in.
//   in       the written notes of each bar; an instrument by its lowest string
//   out      one clef a bar
//   source   clefs of the string instruments: common practice, no source
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "bow/instrument.hpp"

#include <cstdint>
#include <span>
#include <vector>

namespace bowarm::part
{

enum class Clef : std::uint8_t { treble, alto, tenor, bass };

struct ClefSign {
    char sign;
    int line;
};
ClefSign clef_sign(Clef clef);

// A double bass: written an octave above what sounds.
bool sounds_an_octave_lower(const Instrument& instrument);

// Fewest ledger lines, and no change for a note or two.
std::vector<Clef> clefs_of(const Instrument& instrument, std::span<const std::vector<int>> bars);

} // namespace bowarm::part
