// A short phrase for each technique, to hear whether a target's sounds are what its file says: first with the arm off, the keys
// as they are in the sound that was selected, then with the arm on.
//   in       the player it is for: its instrument says which keys, its controls which controller is the loudness
//   out      a script for the engine, beginning softly, and when each phrase begins
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include "hear/input.hpp"
#include "player/player.hpp"

#include <span>
#include <vector>

namespace bowarm
{

struct CheckedPhrase {
    Time at;
    Technique wanted;
    Technique played; // by the target: the end of its fallbacks
    bool arm_on;
};

struct Soundcheck {
    std::vector<Input> script; // by time
    std::vector<CheckedPhrase> phrases;
    Time end;
};

Soundcheck soundcheck_of(const PlayerConfig& player, std::span<const Technique> techniques);

} // namespace bowarm
