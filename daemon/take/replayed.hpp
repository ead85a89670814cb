// A take played again from its journal, and held against what was sent when it was played.
//   in       a journal with its inputs, and the player that its configuration describes; of several players, which one
//   out      everything of the take, and where the messages first differ from those of the day
//   thread   any.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/journal.hpp"
#include "take/second_bowing.hpp"
#include "take/take.hpp"

#include <optional>

namespace bowarm
{

// The messages were the same up to `after`, and no longer at `before`.
struct Difference {
    Time after, before;
    BarPlace place; // of the first stroke from then on; bar 0: unknown
};

struct Replayed {
    Recorder take;
    std::uint64_t checked{0}; // messages that were compared
    std::optional<Difference> difference;
};

// The past is lived through first.  The take ends with its last input; what that leaves sounding is released a nanosecond later.
Replayed replayed(const Journal& journal, const TakeSpan& span, const PlayerConfig& config, std::size_t player = 0);

// The same as a piece for bow_live and bow_with_hindsight.
Piece piece_of(const Journal& journal, const TakeSpan& span, const PlayerConfig& config, std::size_t player = 0);

// Of the take, what this player applied.
std::vector<Input> played_by(const Journal& journal, const TakeSpan& span, std::size_t player);

} // namespace bowarm
