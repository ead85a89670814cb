#include "stroke/line.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

double part(Duration now, Duration start, Duration length)
{
    return length.ns > 0 ? static_cast<double>((now - start).ns) / static_cast<double>(length.ns) : 1.0;
}

double rise(Way way, double u)
{
    switch (way) {
    case Way::even:
        return u;
    case Way::leaving:
        return u * u;
    case Way::arriving:
        return u * (2 - u);
    case Way::smooth:
        break;
    }
    return smooth_rise(u);
}

double rise_integral(Way way, double u)
{
    switch (way) {
    case Way::even:
        return u * u / 2;
    case Way::leaving:
        return u * u * u / 3;
    case Way::arriving:
        return u * u * (1 - u / 3);
    case Way::smooth:
        break;
    }
    return smooth_rise_integral(u);
}

// From a to b over the length, u of the way through.
Metres distance(MetresPerSecond a, MetresPerSecond b, Seconds length, Way way, double u)
{
    return Metres{length.value * (a.value * u + (b.value - a.value) * rise_integral(way, u))};
}

} // namespace

void Line::begin(const Motion& at_rest) noexcept
{
    *this = Line{};
    rest_ = at_rest;
}

Motion Line::last() const noexcept { return segments_.empty() ? rest_ : segments_.back().to; }

bool Line::then(Duration length, const Motion& to, Way way) noexcept
{
    const Motion from = last();
    const Metres before = travelled(end_);
    const Metres after = before + distance(from.speed, to.speed, to_seconds(length), way, 1);
    if (!segments_.push_back({end_, length, from, to, before, after, way})) return false;
    end_ = end_ + length;
    return true;
}

const Line::Segment* Line::segment(Duration now) const noexcept
{
    for (std::size_t i = segments_.size(); i > 0; --i)
        if (segments_[i - 1].start <= now) return &segments_[i - 1];
    return nullptr;
}

Motion Line::at(Duration now) const noexcept
{
    const Segment* s = segment(now);
    if (s == nullptr) return rest_;
    const double passed = part(now, s->start, s->length);
    const double u = passed < 1 ? rise(s->way, passed) : 1.0;
    return {MetresPerSecond{between(s->from.speed.value, s->to.speed.value, u)},
            Newtons{between(s->from.force.value, s->to.force.value, u)}, Beta{between(s->from.beta.value, s->to.beta.value, u)}};
}

Metres Line::travelled(Duration now) const noexcept
{
    const Segment* s = segment(now);
    if (s == nullptr) return base_ + rest_.speed * to_seconds(now - first_);
    const double u = part(now, s->start, s->length);
    if (u < 1) return s->before + distance(s->from.speed, s->to.speed, to_seconds(s->length), s->way, u);
    return s->after + s->to.speed * to_seconds(now - s->start - s->length);
}

void Line::replan(Duration now) noexcept
{
    const Motion motion = at(now);
    const Metres before = travelled(now);
    segments_.clear();
    rest_ = motion;
    base_ = before;
    first_ = now;
    end_ = now;
}

} // namespace bowarm
