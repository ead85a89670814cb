// Many quick keys that a player reads as one note: a tremolo, a trill.
//   in       segments of a quantised line
//   out      the same with such runs put together
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/part/music.hpp"

#include <span>
#include <vector>

namespace bowarm::part
{

std::vector<Segment> folded(std::vector<Segment> segments, std::span<const PlayedNote> notes);

} // namespace bowarm::part
