// Where on the hair a kind of stroke is played, by its middle.
//   in       technique, notes a second (0: not known), loudness, accent (1 = as usual)
//   out      0 frog .. 1 tip
//   source   common practice, no source: heavy at the frog, where the arm's weight is; soft and floating in the upper half;
//            quick short strokes about the middle; off the string where the bow bounces by itself (bounce.hpp)
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"
#include "bow/instrument.hpp"

namespace bowarm
{

HairFraction preferred_place(const Instrument& instrument, Technique technique, Hertz rate, Loudness loudness, double accent) noexcept;

// How much more or less hair than usual a stroke takes, so that the bow drifts to where it is wanted.
double drift(HairFraction preferred, HairFraction from, HairFraction length, Direction direction) noexcept;

} // namespace bowarm
