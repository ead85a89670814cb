// A piece bowed live, and bowed again by the same player with the future known.
//   thread   any.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/hindsight.hpp"
#include "take/performance.hpp"

#include <optional>
#include <span>
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

// How it was bowed, for those who double it: each desk by itself, the first one first.
std::vector<OthersBowing> bowings_to_follow(const PlayerConfig& player, const Recorder& bowed);

// Of each desk, what it cost and will cost together: desks share notes, not bows.  Where desks double each other, the later ones
// follow the plans of those before; all follow `others`.
Hindsight bow_desks_again(const PlayerConfig& player, const Recorder& live, std::optional<Bars> only = std::nullopt,
                          std::span<const OthersBowing> others = {});

// `live` was bowed with the same wishes.  The plan is played, and its cost is what it then cost; live's bowing is kept where the
// plan was no cheaper, or where only some bars were to be bowed again and a stroke outside them would have moved.  Others who were
// bowed before are followed where they double this player.
Bowing bow_with_hindsight(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, std::optional<Bars> only,
                          Hindsight& hindsight, std::span<const OthersBowing> others = {});

} // namespace bowarm
