#include "bow/attack.hpp"

#include "base/arithmetic.hpp"

#include <cmath>

namespace bowarm
{
namespace
{

struct Manner {
    Seconds rise_soft, rise_loud; // wanted rise at loudness 0 and 1
    Seconds longest;              // a start may take no longer
    double peak;                  // over the planned speed
    Duration settle;
};

constexpr Seconds soft_start_longest{0.18}; // longer than accepted on purpose: a soft note grows out of nothing

constexpr Manner manner_of(Technique technique)
{
    switch (technique) {
    case Technique::legato:
    case Technique::portato:
        return {Seconds{0.15}, Seconds{0.05}, soft_start_longest, 1.0, milliseconds(30)};
    case Technique::staccato:
    case Technique::hooked:
        return {Seconds{0.03}, Seconds{0.02}, accepted_creak, 1.1, milliseconds(50)};
    case Technique::marcato:
    case Technique::martele:
        return {Seconds{0.03}, Seconds{0.02}, accepted_creak, 1.35, milliseconds(80)};
    default:
        return {Seconds{0.12}, Seconds{0.035}, accepted_slips, 1.0, milliseconds(40)};
    }
}

constexpr double strongest_push = 1.4;

} // namespace

Attack plan_attack(const AttackNeeds& n) noexcept
{
    const Manner manner = manner_of(n.technique);
    const double push = n.accent < 1 ? 1 : (n.accent > strongest_push ? strongest_push : n.accent);
    Attack a;
    a.peak = n.planned.speed * (1 + (manner.peak - 1) * push);
    a.settle = manner.settle;
    const Seconds wish = Seconds{between(manner.rise_soft.value, manner.rise_loud.value, n.loudness.value) / push};

    // The wedge is a line per newton: take its middle, so that force and acceleration keep their proportion.
    const AccelerationRange newton = clean_start(Newtons{1}, n.planned.beta, Seconds{1 / n.frequency.value}, n.impedance, n.friction);
    const double middle = std::sqrt(newton.low.value * newton.high.value);
    a.acceleration = a.peak / wish;
    Newtons force{a.acceleration.value / middle};
    if (force > n.arm_limit) {
        force = n.arm_limit;
        a.acceleration = MetresPerSecondSquared{newton.high.value * force.value};
    }
    // A start that takes too long is worse than one that slips a little.
    const bool soft = manner.longest == accepted_slips && n.loudness < Loudness{0.25};
    const Seconds longest = soft ? soft_start_longest : manner.longest;
    if (a.peak / a.acceleration > longest) a.acceleration = a.peak / longest;
    a.force = force;
    a.rise = to_duration(a.peak / a.acceleration);
    const double share = a.acceleration.value / force.value;
    a.clean = share >= newton.low.value * (1 - 1e-9) && share <= newton.high.value * (1 + 1e-9);
    return a;
}

} // namespace bowarm
