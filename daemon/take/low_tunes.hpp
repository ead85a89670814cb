// Loud tunes on the low strings, known whole: with hindsight they are struck down from their first note.
//   in       a take's decisions with the lengths that the strokes turned out to have
//   out      low_tune of the strokes of such tunes
//   source   as bow/low_tune.hpp, which is what live can know
//   thread   any, pure
#pragma once

#include "take/take.hpp"

#include <vector>

namespace bowarm
{

void find_low_tunes(std::vector<Decision>& decisions);

} // namespace bowarm
