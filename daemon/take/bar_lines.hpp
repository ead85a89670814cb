// Where the bar lines of a take lie, when nobody told its meter and the whole of it has been heard.
//   At each stroke the live pass claimed a bar, more or less surely (phrase/beat_finder).  The claims are weighed together, and
//   those that few others bear out give way (Viterbi's algorithm over the bars most claimed).
//   in       a live take whose tempo was told
//   out      meters from the bar lines where they begin, for source_hindsight; empty where a meter was told, or no tempo was
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <vector>

namespace bowarm
{

std::vector<Input> bar_lines_of(const Recorder& live);

} // namespace bowarm
