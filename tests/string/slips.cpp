#include "string/slips.hpp"

#include <algorithm>
#include <cmath>

namespace bowarm::test
{
namespace
{

constexpr double repeat_tolerance = 0.05;

bool is_period(Seconds a, Seconds b, Seconds period) { return std::abs((b - a) / period - 1) < period_tolerance; }

} // namespace

void SlipCounter::step(Seconds now, Grip grip, MetresPerSecond sliding, Metres hair_in_period, Seconds dt)
{
    if (grip != grip_ && grip != Grip::stuck) {
        began_ = now;
        slid_ = 0;
    }
    if (grip != Grip::stuck && hair_in_period > Metres{0}) slid_ += std::abs(sliding * dt / hair_in_period);
    if (grip != grip_ && grip == Grip::stuck && slid_ >= slip_share) slips_.push_back(began_);
    grip_ = grip;
}

const char* word(StringMotion m)
{
    switch (m) {
    case StringMotion::one_slip:
        return "one";
    case StringMotion::several_slips:
        return "several";
    case StringMotion::irregular:
        return "irregular";
    default:
        return "none";
    }
}

Judgement judge(std::span<const Seconds> slips, Seconds from, Seconds to, Seconds period)
{
    const auto first = std::lower_bound(slips.begin(), slips.end(), from);
    const auto last = std::lower_bound(slips.begin(), slips.end(), to);
    const double periods = (to - from) / period;
    Judgement j;
    if (last - first < 2) return j;
    int repeated = 0, asked = 0;
    for (auto s = first; s + 1 < last; ++s) {
        const double interval = (s[1] - s[0]) / period;
        // A slip split in two, near each other, leaves intervals of nearly a period too: the one before has to be a period as well.
        const bool alone = s == first || is_period(s[-1], s[0], period);
        if (alone && is_period(s[0], s[1], period))
            j.one_slip += interval / periods;
        else if (interval > 1)
            j.prolonged += interval / periods;
        if (*s + period * (1 + repeat_tolerance) > to) continue;
        ++asked;
        const auto again = std::lower_bound(s, last, *s + period * (1 - repeat_tolerance));
        if (again != last && *again < *s + period * (1 + repeat_tolerance)) ++repeated;
    }
    // What lies before the first and after the last slip belongs to their neighbours.
    const double covered = (*(last - 1) - *first) / period;
    if (covered > 0) {
        j.one_slip *= periods / covered;
        j.prolonged *= periods / covered;
    }
    j.slips_a_period = static_cast<double>(last - first) / periods;
    j.repeating = asked > 0 ? static_cast<double>(repeated) / asked : 0;
    if (j.slips_a_period < 0.1)
        j.motion = StringMotion::no_slips;
    else if (j.one_slip >= 0.9 && covered > 0.8 * periods)
        j.motion = StringMotion::one_slip;
    else if (j.slips_a_period > 1.1 && j.repeating >= 0.8)
        j.motion = StringMotion::several_slips;
    else
        j.motion = StringMotion::irregular;
    return j;
}

Seconds regular_from(std::span<const Seconds> slips, Seconds from, Seconds to, Seconds period)
{
    int run = 0;
    for (std::size_t i = 1; i < slips.size(); ++i) {
        if (slips[i - 1] < from || slips[i] >= to) continue;
        run = is_period(slips[i - 1], slips[i], period) ? run + 1 : 0;
        if (run == regular_periods) return slips[i - regular_periods] - from;
    }
    return Seconds{-1};
}

} // namespace bowarm::test
