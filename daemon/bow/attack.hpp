// How a stroke starts from rest: acceleration and force together, so that the string speaks cleanly.
//   in       the planned steady motion (speed as a magnitude), technique, accent (1 = as usual), loudness, the note's
//            frequency, the string, the heaviest force the arm can give where the bow is
//   out      constant acceleration to a peak, then settling to the planned motion
//   source   clean_start.hpp (Guettler 2002) for the force that goes with an acceleration, and the accepted lengths of a
//            start (Guettler & Askenfelt 1997); rise times are common practice, no source
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"
#include "base/time.hpp"
#include "bow/clean_start.hpp"
#include "bow/plan.hpp"

namespace bowarm
{

struct AttackNeeds {
    Technique technique{Technique::detache};
    double accent{1};
    Loudness loudness;
    Motion planned;
    Hertz frequency;
    KilogramsPerSecond impedance;
    Friction friction;
    Newtons arm_limit;
};

struct Attack {
    MetresPerSecondSquared acceleration;
    Newtons force; // at rest
    MetresPerSecond peak;
    Duration rise;
    Duration settle;
    bool clean{true}; // inside the wedge of clean starts
};

Attack plan_attack(const AttackNeeds& needs) noexcept;

} // namespace bowarm
