// What the engine's bow does while keys are played, read from snapshots after every input and every wake.
//   in       keys in milliseconds, times a multiple of 5 so that they fall on the grid of the curves
//   out      the bow at each moment it was read; between two that are one grid step apart it moves evenly
#pragma once

#include "bow/plan.hpp"
#include "player/player.hpp"

#include <cstdint>
#include <vector>

namespace bowarm::test
{

struct Key {
    std::int64_t down_ms, up_ms;
    int pitch;
};

struct Performance {
    Technique technique{Technique::detache};
    Loudness loudness;
    std::vector<Key> keys; // in the order of their beginnings
    int contact{64};       // of the controller: 0 at the fingerboard, 127 at the bridge
};

struct BowMoment {
    Seconds at;
    Motion bow; // speed signed, down positive; no force: not on the string
    std::uint8_t string{no_string};
    std::uint8_t pitch{0}; // 0: none sounds
};

std::vector<BowMoment> bow_curves(const Performance& performance, std::int64_t until_ms);

// The loudness that the person's controller can say, nearest to the one wanted.
Loudness loudness_said(Loudness wanted);

} // namespace bowarm::test
