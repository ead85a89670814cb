// Bowing a finished take again, when the future is known.
//   The same table of costs as live (bow/choice.hpp), minimised over the whole take by dynamic programming over the place on
//   the hair and the direction; linear in the number of strokes.
//   in       the decisions of a live pass over the take, in order, and when each stroke ended; how others bowed (doubling.hpp)
//   out      the cheapest plan, and what it and the live path cost: live where its bow was, the plan where it is
//            reckoned to be, neither on the grid of places
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/doubling.hpp"
#include "take/take.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace bowarm
{

// Bars whose strokes are chosen anew, both included; every other stroke keeps live's direction and retake.
struct Bars {
    std::int32_t first{1};
    std::int32_t last{1};
};

struct Hindsight {
    std::vector<PlannedStroke> plan; // of the search, from the first stroke on that may differ
    double cost{0};                  // of the cheaper one of the two
    double live_cost{0};
    bool live_kept{false};    // live's own path was no dearer, as far as can be reckoned
    std::size_t differing{0}; // strokes that go the other way than live
    std::size_t doubled{0};   // strokes that another player doubles, and how many of them go as the other's: live, and as bowed
    std::size_t live_alike{0}, alike{0};
    // What choosing before knowing has cost, in the units of the table of costs; never below 0.
    double regret() const { return live_cost - cost; }
};

// What others have bowed is followed where they double this player.
Hindsight bow_again(const Instrument& instrument, const Recorder& live, std::optional<Bars> only = std::nullopt,
                    const Followed& followed = {});

// What another bowing of the same take cost where its bow really was; empty when its strokes begin with other notes.
std::optional<double> cost_as_bowed(const Instrument& instrument, const Recorder& live, const Recorder& bowed,
                                    const Followed& followed = {});

} // namespace bowarm
