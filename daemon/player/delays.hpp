// How a player's fixed delay is divided: what is left when the slowest note of its target has had its time is foresight.
//   in       the configuration
//   out      Gestures wait for `hold` before they are acted upon; what is sent then leaves up to `early` later.  hold + early is
//            the delay, or the chord hold where that is longer.
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "player/player.hpp"

namespace bowarm
{

struct Delays {
    Duration hold;
    Duration early;
    bool foresees{false}; // the hold is more than a chord's: what waits is looked at

    Duration total() const { return hold + early; }
};

inline Delays delays_of(const PlayerConfig& config) noexcept
{
    const Duration chord = to_duration(config.chord_hold);
    const Duration delay = to_duration(config.delay);
    if (delay <= chord) return {chord, {0}, false};
    const Duration speaks = to_duration(time_ahead(config.target));
    const Duration hold = chord + speaks < delay ? delay - speaks : chord;
    return {hold, delay - hold, hold > chord};
}

} // namespace bowarm
