// Changes of the bow under a held note, on the page.
//   The note is written as two that are tied, the second with the mark of its bow; a slur ends at the first and begins anew at the second.
//   in       segments in order, the notes behind them, bars and tuplets
//   out      segments parted at the beat nearest to each change; in a note too short for that, at half a beat or not at all
//   source   common practice of editors, no source
//   thread   any, pure.  Real-time safe: no, it allocates; linear in the segments and bars.  Errors: none.
#pragma once

#include "take/part/music.hpp"

#include <span>
#include <vector>

namespace bowarm::part
{

std::vector<Segment> parted_at_turns(std::vector<Segment> segments, std::span<const PlayedNote> notes, std::span<const Bar> bars,
                                     std::span<const Division> tuplets);

} // namespace bowarm::part
