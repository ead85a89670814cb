// Between which accelerations from rest a bowed string starts cleanly, under a constant force.
//   Below low the first periods are prolonged (creak), above high the string slips several times a period.
//   in       force N; beta in (0, 0.5); period of the note, seconds; impedance kg/s; friction coefficients
//   out      m/s2, low <= high; both grow in proportion to the force
//   source   K. Guettler, On the creation of the Helmholtz motion in bowed strings, Acta Acustica 88 (2002) 970-985,
//            eqs. 8a and 8b for a lossless string (second-hand)
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

namespace bowarm
{

struct Friction {
    double sticking{0.8};
    double sliding{0.3};
};

struct AccelerationRange {
    MetresPerSecondSquared low;
    MetresPerSecondSquared high;
};

AccelerationRange clean_start(Newtons force, Beta beta, Seconds period, KilogramsPerSecond impedance, const Friction& friction) noexcept;

// The time of the first slip under constant acceleration: a plucked string's statics, t = sqrt(mu_s F beta (1 - beta) P / (Z a)).
Seconds first_slip(Newtons force, Beta beta, Seconds period, KilogramsPerSecond impedance, double sticking,
                   MetresPerSecondSquared acceleration) noexcept;

// Longest start that listeners accepted, violin open G, 20 string players (K. Guettler & A. Askenfelt, J. Acoust. Soc. Am.
// 101 (1997) 2903-2913, from memory): prolonged periods, and several slips a period.
inline constexpr Seconds accepted_creak{0.050};
inline constexpr Seconds accepted_slips{0.090};

} // namespace bowarm
