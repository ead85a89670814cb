// Whether keys that overlapped were slurred, or were meant to be separate by a hand that was not exact.
//   A very short overlap is an accident.  A longer one is, when two things speak against a slur: the key had been held as long as
//   this hand has just been holding separate notes, and the overlap is unlike those of its slurs, which have been even.
//   in       seconds that keys were held and overlapped
//   source   common practice, no source; the figures in DEVELOPERS.md (against editors' bowings, jitter) say what it is worth
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

#include <array>
#include <cstddef>

namespace bowarm
{

class Overlaps
{
public:
    static constexpr Seconds surely_an_accident{0.020}; // of an overlap

    // A key came up while no other was down.
    void let_go(Seconds held) noexcept;
    // A key came up that long after a newer one went down.  True: an accident.
    bool by_accident(Seconds held, Seconds overlap) noexcept;

private:
    bool held_like_separate(Seconds held) const noexcept;
    bool unlike_slurs(Seconds overlap) const noexcept;
    void slurred(Seconds overlap) noexcept;

    std::array<Seconds, 3> separate_{}; // how long the last separate notes were held, newest first; 0: none
    Seconds usual_{0.03};               // overlap of this hand's slurs
    Seconds spread_{0.02};              // their mean distance from it
};

} // namespace bowarm
