#include "sound/bow_at.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

// Nearer to the bridge than this the string has no sample between.
constexpr float nearest_beta = 0.02F, farthest_beta = 0.45F;

bool touches(const MotionSample& m) { return m.on_string && m.string != no_string; }

} // namespace

Motion BowAt::at(double ns)
{
    while (next_ < samples_.size() && static_cast<double>(samples_[next_].at.ns) <= ns) {
        if (touches(samples_[next_]) && samples_[next_].beta > 0) beta_ = std::clamp(samples_[next_].beta, nearest_beta, farthest_beta);
        ++next_;
    }
    if (next_ == 0) return {};
    const MotionSample& a = samples_[next_ - 1];
    if (!touches(a)) return {MetresPerSecond{0}, Newtons{0}, Beta{static_cast<double>(beta_)}};
    const MotionSample& b = samples_[next_ < samples_.size() ? next_ : next_ - 1];
    const double span = static_cast<double>((b.at - a.at).ns);
    // Where the bow leaves the string, or turns a small stroke at once, there is no line between.
    const bool line = span > 0 && touches(b) && a.strokes == b.strokes && (a.speed < 0) == (b.speed < 0);
    const double part = line ? (ns - static_cast<double>(a.at.ns)) / span : 0;
    const auto mix = [part](float x, float y) { return static_cast<double>(x) + (static_cast<double>(y) - static_cast<double>(x)) * part; };
    const float beta = line && b.beta > 0 ? std::clamp(b.beta, nearest_beta, farthest_beta) : beta_;
    return {MetresPerSecond{mix(a.speed, b.speed)}, Newtons{mix(a.force, b.force)}, Beta{mix(beta_, beta)}};
}

} // namespace bowarm
