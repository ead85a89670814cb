// A piece bowed live, and bowed again by the same player with the future known.
//   thread   any.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/hindsight.hpp"
#include "take/performance.hpp"

#include <optional>
#include <vector>

namespace bowarm
{

struct Piece {
    const PlayerConfig& player;
    std::vector<Input> inputs;
    Time end;
    std::vector<Input> past{}; // what the player lives through before, unrecorded
    Time origin{};             // of the recording
    bool watch{false};         // the bow is looked at all along
};

struct Bowing {
    Recorder take;
    bool at_rest{true};                   // as perform() says
    std::optional<MotionRecord> motion{}; // where it was looked at
};

Bowing bow_live(const Piece& piece, const std::vector<WishedStroke>& wishes);

// Of each desk by itself, what it cost and will cost together: desks share notes, not bows.
Hindsight bow_desks_again(const PlayerConfig& player, const Recorder& live, std::optional<Bars> only = std::nullopt);

// `live` was bowed with the same wishes.  The plan is played, and its cost is what it then cost; live's bowing is kept where the
// plan was no cheaper, or where only some bars were to be bowed again and a stroke outside them would have moved.
Bowing bow_with_hindsight(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, std::optional<Bars> only,
                          Hindsight& hindsight);

} // namespace bowarm
