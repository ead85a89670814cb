// The forces between which a bowed string gives its own note.
//   in       speed > 0 m/s; beta in (0, 1); wave impedance Z of the string, bridge resistance R, in kg/s;
//            friction_difference: static minus sliding friction coefficient
//   out      newtons; below low the string slips more than once a period, above high it does not slip in time
//   source   J. C. Schelleng, The bowed string and the player, J. Acoust. Soc. Am. 53 (1973) 26-41, as given in
//            J. Woodhouse, Euphonics 9.3.1 eq. 3 (high) and 9.4.2 eq. 6 with the bridge as one dash-pot (low):
//            high = 2 Z v / (beta dmu),  low = Z^2 v / (2 R beta^2 dmu)
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

namespace bowarm
{

struct StringContact {
    KilogramsPerSecond impedance;
    KilogramsPerSecond bridge_resistance;
    double friction_difference{0.5};
};

struct ForceRange {
    Newtons low;
    Newtons high;
};

constexpr ForceRange playable_force(MetresPerSecond speed, Beta beta, const StringContact& string) noexcept
{
    const double z = string.impedance.value;
    const double v = speed.value;
    const double b = beta.value;
    const double mu = string.friction_difference;
    return {Newtons{z * z * v / (2.0 * string.bridge_resistance.value * b * b * mu)}, Newtons{2.0 * z * v / (b * mu)}};
}

// The measured lower limit hardly falls with the bow's speed, against the formula's proportion (Schoonderwaldt,
// Guettler & Askenfelt, Acta Acustica 94 (2008) 604-622, from memory): below this speed it is held.
inline constexpr MetresPerSecond low_force_speed_floor{0.1};

constexpr ForceRange practical_force(MetresPerSecond speed, Beta beta, const StringContact& string) noexcept
{
    const MetresPerSecond floored = speed < low_force_speed_floor ? low_force_speed_floor : speed;
    return {playable_force(floored, beta, string).low, playable_force(speed, beta, string).high};
}

} // namespace bowarm
