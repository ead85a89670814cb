#include "midi/tempo_map.hpp"

#include "midi/byte_reader.hpp"

#include <limits>

namespace bowarm
{

TempoMap::TempoMap(std::uint16_t division) : frames_((division & 0x8000) != 0)
{
    if (!frames_) {
        units_a_tick_ = TempoChange{}.microseconds_per_quarter;
        nanoseconds_a_unit_ = 1000;
        divisor_ = division;
        return;
    }
    const int frames_a_second = 0x100 - (division >> 8);
    const int ticks_a_frame = division & 0xFF;
    units_a_tick_ = 1;
    nanoseconds_a_unit_ = frames_a_second == 29 ? WideInteger{1'001'000'000'000} : WideInteger{1'000'000'000};
    divisor_ = WideInteger{frames_a_second == 29 ? 30'000 : frames_a_second} * ticks_a_frame;
}

// A tick is at most 2^28 for each event and a file in memory has fewer than 2^32: the sum stays below 2^85.
void TempoMap::walk_to(std::int64_t tick)
{
    sum_ += WideInteger{tick - tick_} * units_a_tick_;
    tick_ = tick;
}

Time TempoMap::time_of(std::int64_t tick)
{
    walk_to(tick);
    const WideInteger ns = sum_ * nanoseconds_a_unit_ / divisor_;
    if (ns > std::numeric_limits<std::int64_t>::max() / 2)
        ByteReader::fail(0, "the music lasts longer than a century", "shorten the rests");
    return {static_cast<std::int64_t>(ns)};
}

void TempoMap::set_tempo(std::int64_t tick, TempoChange tempo)
{
    walk_to(tick);
    if (!frames_) units_a_tick_ = tempo.microseconds_per_quarter;
}

void set_times(StandardFile& file)
{
    TempoMap map(file.division);
    for (FileEvent& event : file.events) {
        event.at = map.time_of(event.tick);
        if (const auto* tempo = std::get_if<TempoChange>(&event.what)) map.set_tempo(event.tick, *tempo);
    }
    file.end = map.time_of(file.end_tick);
}

} // namespace bowarm
