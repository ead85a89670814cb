#include "phrase/beat_place.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

bool is_compound(BarMeter meter) { return meter.unit >= 3 && meter.beats % 3 == 0 && meter.beats > 3; }

double weight_in_bar(std::int64_t beat, BarMeter meter)
{
    // A bar of one beat has nothing to be stronger than; written first in a file it is an upbeat.
    if (meter.beats == 1) return 0.5;
    if (beat == 0) return 1.0;
    // Compound meters are felt in groups of three beats, even ones in halves.
    if (is_compound(meter)) return beat % 3 == 0 ? 0.5 : 0.2;
    if (meter.beats % 2 == 0 && beat == meter.beats / 2) return 0.5;
    return 0.3;
}

} // namespace

double quarters_of_beat(BarMeter meter) noexcept
{
    double factor = 4.0;
    for (int i = 0; i < meter.unit; ++i) factor *= 0.5;
    return factor;
}

BarMeter conducted(BarMeter meter) noexcept { return {is_compound(meter) ? static_cast<std::uint8_t>(meter.beats / 3) : meter.beats, 2}; }

void put_place(BeatPlace& place, double beats, std::int32_t first_bar, BarMeter meter) noexcept
{
    const auto bars = static_cast<std::int64_t>(beats / meter.beats);
    place.bar = first_bar + static_cast<std::int32_t>(bars);
    place.compound = is_compound(meter);
    place.beat = 1.0 + beats - static_cast<double>(bars * meter.beats);
    // A hand is early or late by up to a tenth of a second; within that the nearest beat was meant.
    const std::int64_t whole = nearest(beats);
    const double off = beats - static_cast<double>(whole);
    const double tolerance = 0.1 / place.beat_length.value < 0.2 ? 0.1 / place.beat_length.value : 0.2;
    if ((off < 0 ? -off : off) <= tolerance) {
        const std::int64_t in_bar = whole % meter.beats;
        place.weight = weight_in_bar(in_bar, meter);
        place.nearest = 1.0 + static_cast<double>(in_bar);
        place.bar = first_bar + static_cast<std::int32_t>(whole / meter.beats);
    } else {
        place.weight = 0;
        place.nearest = place.beat;
    }
    place.to_bar = place.beat_length * (1.0 + meter.beats - place.nearest);
}

} // namespace bowarm
