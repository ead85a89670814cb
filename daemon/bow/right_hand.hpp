// What hands need time for: to pluck and to take up the bow again, to turn it over, to set a mute; and what tires them.
//   in       techniques, loudness 0..1, the instrument
//   out      seconds, notes a second
//   source   plucking is slower than bowing, and slower the thicker the string (N. Rimsky-Korsakov, Principles of Orchestration,
//            ch. I, pizzicato); sixteenths at 90 a minute, 6 notes a second, are a rule for one player's finger, and the way back
//            to the bow is the longer one (orchestration handouts); two fingers in turn go a third faster.  The other numbers
//            are common practice, no source.
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/arithmetic.hpp"
#include "base/technique.hpp"
#include "bow/instrument.hpp"

#include <optional>

namespace bowarm
{

enum class RightHand : std::uint8_t { hair, wood, plucking };

// Empty: the left hand does it.
constexpr std::optional<RightHand> right_hand_of(Technique t)
{
    if (t == Technique::left_hand_pizzicato) return std::nullopt;
    if (is_plucked(t)) return RightHand::plucking;
    const bool wood = t == Technique::col_legno_battuto || t == Technique::col_legno_tratto;
    return wood ? RightHand::wood : RightHand::hair;
}

constexpr Seconds change_time(RightHand from, RightHand to)
{
    if (from == to) return Seconds{0};
    if (to == RightHand::plucking) return Seconds{0.30};
    if (from == RightHand::plucking) return Seconds{to == RightHand::wood ? 0.65 : 0.45};
    return Seconds{0.30}; // the bow is turned over
}

constexpr Seconds mute_time(bool on) { return Seconds{on ? 2.0 : 1.0}; }

// Two fingers in turn; a snap has to lift the string each time.
constexpr Hertz fastest_pluck(const Instrument& i, Technique technique)
{
    constexpr double violin_length = 0.328;
    const double thinner = power(violin_length / i.string_length.value, 0.4);
    return Hertz{(technique == Technique::snap_pizzicato ? 4 : 8) * thinner};
}

// Between two strings of a chord raked by one finger or thumb: the harder, the quicker.
constexpr Seconds rake_step(double velocity_share) { return Seconds{between(0.045, 0.012, velocity_share)}; }

// How long an arm shakes without a rest.
constexpr Seconds longest_tremolo(Loudness loudness) { return Seconds{between(60, 20, loudness.value)}; }

} // namespace bowarm
