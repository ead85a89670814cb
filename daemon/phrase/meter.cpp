#include "phrase/meter.hpp"

namespace bowarm
{

void Meter::tempo(Time at, Seconds quarter) noexcept
{
    if (known() && at > anchor_) {
        anchor_beat_ = beats_since_anchor(at);
        anchor_ = at;
    }
    quarter_ = quarter;
}

void Meter::meter(Time at, BarMeter meter) noexcept
{
    constexpr double rounding = 0.02; // bars; a file's ticks fall short of a bar line by less
    if (known()) {
        const double bars = beats_since_anchor(at) / meter_.beats;
        const auto whole = static_cast<std::int32_t>(bars);
        anchor_bar_ += bars - whole > rounding ? whole + 1 : whole;
    }
    anchor_ = at;
    anchor_beat_ = 0;
    meter_ = meter;
}

BeatPlace Meter::place(Time at) const noexcept
{
    BeatPlace p;
    if (!known()) return p;
    p.source = BeatSource::file;
    p.confidence = p.beat_confidence = 1;
    p.beat_length = beat_length();
    if (at >= anchor_) put_place(p, beats_since_anchor(at), anchor_bar_, meter_);
    return p;
}

} // namespace bowarm
