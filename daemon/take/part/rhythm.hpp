// From played to written time.
//   Each beat is divided so that its notes lie near the division and the division stays simple; whether beats go in twos or in threes
//   is weighed over the whole line (Viterbi's algorithm), so that one late note turns no sixteenth into a triplet.  Two beats, or the four
//   of a bar, may be divided in threes together.
//   in       played notes in the order of their onsets, the bars that cover them
//   out      segments that never overlap, in order, and every stretch that is a tuplet
//   thread   any, pure.  Real-time safe: no, it allocates; linear in the notes and bars.  Errors: none.
#pragma once

#include "take/part/music.hpp"

#include <span>
#include <vector>

namespace bowarm::part
{

struct Rhythm {
    std::vector<Segment> segments;
    std::vector<Division> tuplets;
};

// The beat as a hand conducts it: a dotted note in compound meters.
Ticks beat_of(BarMeter meter);
bool in_threes(BarMeter meter);

Rhythm rhythm_of(std::span<const PlayedNote> notes, std::span<const Bar> bars);

} // namespace bowarm::part
