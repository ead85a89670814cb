// Bowing a finished take again, when the future is known.
//   The same table of costs as live (bow/choice.hpp), minimised over the whole take by dynamic programming over the place on
//   the hair and the direction; linear in the number of strokes.
//   in       the decisions of a live pass over the take, in order, and when each stroke ended
//   out      the cheapest plan, and what it and the live path cost, both scored exactly, not on the grid of places
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <vector>

namespace bowarm
{

struct Hindsight {
    std::vector<PlannedStroke> plan;
    double cost{0};
    double live_cost{0};
    bool live_kept{false}; // live's own path was no dearer
};

Hindsight bow_again(const Instrument& instrument, const Recorder& live);

} // namespace bowarm
