// Gathers what the bow did over a stretch, sampled on the curve grid.
//   in       motions with speed as a magnitude, the forces playable at each
//   out      means and extremes; the verdict on the force
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "bow/force_limits.hpp"
#include "bow/plan.hpp"
#include "player/fact.hpp"

namespace bowarm
{

class Watch
{
public:
    void begin(Time at, HairFraction place) noexcept;
    // judged: false while the string is starting, turning or stopping, and for techniques with bounds of their own.
    void see(const Motion& motion, const ForceRange& limits, bool judged) noexcept;
    MotionMeans means(Time now, HairFraction place, Metres hair) const noexcept;

    Time began() const { return began_; }
    HairFraction from() const { return from_; }

private:
    Time began_;
    HairFraction from_;
    double samples_{0}, judged_{0}, below_{0}, above_{0};
    Newtons force_sum_, force_low_, force_high_;
    Beta beta_sum_, beta_low_, beta_high_;
    MetresPerSecond speed_sum_, speed_low_, speed_high_;
};

} // namespace bowarm
