#include "take/motion.hpp"

namespace bowarm
{
namespace
{

MotionSample sample_of(const Snapshot& s, Time at)
{
    MotionSample m;
    m.at = at;
    m.hair = static_cast<float>(s.hair.value);
    m.strokes = s.strokes;
    m.string = s.string;
    m.on_string = s.on_string;
    if (s.string == no_string) return m;
    m.speed = static_cast<float>(s.speed.value * sign(s.direction));
    m.force = static_cast<float>(s.force.value);
    m.force_low = static_cast<float>(s.force_low.value);
    m.force_high = static_cast<float>(s.force_high.value);
    m.beta = static_cast<float>(s.beta.value);
    return m;
}

bool alike(const MotionSample& a, const MotionSample& b)
{
    return a.hair == b.hair && a.speed == b.speed && a.force == b.force && a.force_low == b.force_low && a.force_high == b.force_high &&
           a.beta == b.beta && a.strokes == b.strokes && a.string == b.string && a.on_string == b.on_string;
}

// A stretch in which nothing changes needs its first and its last sample only.
void keep(std::vector<MotionSample>& samples, const MotionSample& next)
{
    const std::size_t n = samples.size();
    if (n >= 2 && alike(samples[n - 1], next) && alike(samples[n - 2], next))
        samples.back().at = next.at;
    else
        samples.push_back(next);
}

} // namespace

void MotionRecord::see(const Player& player, Time at)
{
    for (std::size_t desk = 0; desk < desks_.size(); ++desk) {
        Snapshot snapshot;
        player.read_desk(desk, snapshot);
        keep(desks_[desk], sample_of(snapshot, at));
    }
}

} // namespace bowarm
