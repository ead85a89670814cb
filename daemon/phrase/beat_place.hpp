// A place in the music, and how surely it is known.
//   thread   plain data.  Real-time safe: yes.
#pragma once

#include "base/quantity.hpp"

#include <cstdint>

namespace bowarm
{

// Who told the beat.
enum class BeatSource : std::uint8_t {
    none,
    playing,       // estimated from the notes
    configuration, // tempo and meter as configured, from the first note on
    tap,           // the person tapped it
    clock,         // MIDI clock
    file,          // tempo and time signatures of a file
};

struct BeatPlace {
    std::int32_t bar{0}; // from 1; 0: not known
    BeatSource source{BeatSource::none};
    double beat{0};            // from 1, in beats of the meter, as played
    double nearest{0};         // the beat, or part of a beat, that was meant
    bool compound{false};      // the meter's beats go in threes of eighths or shorter notes
    double weight{0};          // 1 the bar's first beat, 0 between the beats
    double confidence{0};      // 0..1, that the place in the bar is right; 0: nothing is known
    double beat_confidence{0}; // 0..1, that the beats are where they are said to be
    Seconds beat_length;
    Seconds to_bar; // until the next bar begins; 0: unknown
};

// Beats of a bar, and the beat as a power of two: 2 is the quarter.  No beats: unknown.
struct BarMeter {
    std::uint8_t beats{0};
    std::uint8_t unit{2};
    constexpr bool operator==(const BarMeter&) const = default;
};

// A bar's first beat, where one is known.
constexpr bool is_strong(const BeatPlace& place) { return place.confidence > 0 && place.weight >= 0.75; }
// The meter's beat over a quarter note.
double quarters_of_beat(BarMeter meter) noexcept;
// The meter as a hand would conduct it: threes of eighths or shorter notes are one beat.
BarMeter conducted(BarMeter meter) noexcept;
// Puts bar, beat, nearest, compound and weight of a place so many beats after the start of bar `first_bar`; leaves the rest alone.
//   beats >= 0; beat_length > 0 and the meter known.
void put_place(BeatPlace& place, double beats, std::int32_t first_bar, BarMeter meter) noexcept;

} // namespace bowarm
