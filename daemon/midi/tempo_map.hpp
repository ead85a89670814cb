// Ticks of a Standard MIDI File as time, in whole numbers from end to end.
//   source   RP-001: division and set tempo; 29 frames are drop frame at 30000/1001 a second (SMPTE 12M)
//   thread   any, pure.  Real-time safe: yes.
#pragma once

#include "base/time.hpp"
#include "midi/standard_file.hpp"

#include <cstdint>

namespace bowarm
{

__extension__ typedef __int128 WideInteger;

// Walks forward through the ticks: the sum of ticks times tempo is kept whole and divided once, rounding down.
class TempoMap
{
public:
    explicit TempoMap(std::uint16_t division);

    // Ticks never fall.  Throws BadFile when the time does not fit into 292 years.
    Time time_of(std::int64_t tick);
    // From this tick on; with SMPTE frames the tempo does not touch the time.
    void set_tempo(std::int64_t tick, TempoChange tempo);

private:
    void walk_to(std::int64_t tick);

    WideInteger sum_{0}; // ticks times units a tick
    std::int64_t tick_{0};
    std::int64_t units_a_tick_{0};      // microseconds a quarter note; with frames 1
    WideInteger nanoseconds_a_unit_{0}; // over divisor_
    WideInteger divisor_{1};
    bool frames_{false};
};

// Fills in `at` of every event and the end.  Events in order of ticks.  Throws BadFile.
void set_times(StandardFile& file);

} // namespace bowarm
