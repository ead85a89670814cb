// What a player would really do when a bouncing stroke is asked for: outside its region it gives way to a neighbour.
//   in       the technique asked for, notes a second (0: not known yet), wanted loudness 0..1
//   out      the technique that is played, and why it is another
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"
#include "bow/bounce.hpp"
#include "bow/instrument.hpp"

namespace bowarm
{

enum class GivesWay : std::uint8_t { no, too_slow, too_fast, too_loud };

struct OffString {
    Technique technique;
    GivesWay why{GivesWay::no};
};

OffString fitting_bounce(const Instrument& instrument, Technique technique, Hertz rate, Loudness loudness) noexcept;

// Spiccato that is too loud for the bow to bounce by itself: thrown by the arm near the frog.
bool is_heavy_spiccato(const Instrument& instrument, Technique technique, Loudness loudness) noexcept;

// Where on the usable hair the bow bounces at that rate, within the places where players bounce it.
HairFraction bounce_place(const Instrument& instrument, Hertz rate) noexcept;
// How long the hair touches the string in one bounce.
Seconds contact_time(Hertz rate) noexcept;

BouncingBow bouncing_bow(const Instrument& instrument) noexcept;

} // namespace bowarm
