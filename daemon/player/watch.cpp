#include "player/watch.hpp"

namespace bowarm
{
namespace
{

template <class Q> void widen(Q q, bool first, Q& low, Q& high)
{
    if (first || q < low) low = q;
    if (first || high < q) high = q;
}

ForceVerdict verdict(double judged, double below, double above)
{
    constexpr double worth_saying = 0.1; // of the judged samples
    if (!(judged > 0)) return ForceVerdict::not_judged;
    if (below + above < worth_saying * judged) return ForceVerdict::inside;
    return below > above ? ForceVerdict::below : ForceVerdict::above;
}

} // namespace

void Watch::begin(Time at, HairFraction place) noexcept
{
    *this = Watch{};
    began_ = at;
    from_ = place;
}

void Watch::see(const Motion& motion, const ForceRange& limits, bool judged) noexcept
{
    const bool first = !(samples_ > 0);
    widen(motion.speed, first, speed_low_, speed_high_);
    widen(motion.force, first, force_low_, force_high_);
    widen(motion.beta, first, beta_low_, beta_high_);
    samples_ += 1;
    speed_sum_ = speed_sum_ + motion.speed;
    force_sum_ = force_sum_ + motion.force;
    beta_sum_ = beta_sum_ + motion.beta;
    if (!judged) return;
    judged_ += 1;
    if (motion.force < limits.low) below_ += 1;
    if (limits.high < motion.force) above_ += 1;
}

MotionMeans Watch::means(Time now, HairFraction place, Metres hair) const noexcept
{
    MotionMeans m;
    if (!(samples_ > 0)) return m;
    m.speed = speed_sum_ / samples_;
    // Where the bow ran one way the distance gives the mean exactly; a tremolo comes back to where it began.
    const double moved = place < from_ ? from_.value - place.value : place.value - from_.value;
    const Seconds lasted = to_seconds(now - began_);
    if (samples_ < 4 && lasted.value > 0) m.speed = HairFraction{moved} * hair / lasted;
    m.force = force_sum_ / samples_;
    m.beta = beta_sum_ / samples_;
    m.speed_low = speed_low_;
    m.speed_high = speed_high_;
    m.force_low = force_low_;
    m.force_high = force_high_;
    m.beta_low = beta_low_;
    m.beta_high = beta_high_;
    m.verdict = verdict(judged_, below_, above_);
    m.share_outside = judged_ > 0 ? (below_ + above_) / judged_ : 0;
    return m;
}

} // namespace bowarm
