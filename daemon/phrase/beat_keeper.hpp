// What is known of bar and beat, whoever told it: a file, a MIDI clock, taps, the configuration, or the playing alone.
//   A file is believed before a clock, a clock before a hand.  Of taps, configuration and playing the surest is believed.
//   in       tempos, time signatures, clocks, taps and onsets in order of time
//   out      the place of a moment, from what was heard until then
//   thread   the player's.  Real-time safe: yes.  Errors: none; while nothing is known the confidence is 0.
#pragma once

#include "hear/input.hpp"
#include "phrase/beat_finder.hpp"
#include "phrase/clock_follower.hpp"
#include "phrase/meter.hpp"
#include "phrase/tapping.hpp"

namespace bowarm
{

class BeatKeeper
{
public:
    // Quarter notes a minute and a meter as configured; 0, no beats: not configured.
    BeatKeeper(double tempo, BarMeter meter);

    void tempo(Time at, Seconds quarter) noexcept;
    void meter(Time at, BarMeter meter) noexcept;
    void clock(Time at, Source source) noexcept;
    void clock_start(Time at, Source source) noexcept { clock_.start(at, source); }
    void clock_continue(Time at, Source source) noexcept { clock_.go_on(at, source); }
    void clock_stop(Source source) noexcept { clock_.stop(source); }
    void song_position(Source source, int sixteenths) noexcept { clock_.song_position(source, sixteenths); }
    void tap_beat(Time at) noexcept;
    void tap_bar(Time at) noexcept;
    void onset(const HeardOnset& onset) noexcept;
    void joined(double accent) noexcept { finder_.joined(accent); }
    void was_separate() noexcept { finder_.was_separate(); }

    BeatPlace place(Time at) const noexcept;
    // As long as somebody tells it; 0: only the playing could.
    Seconds quarter(Time at) const noexcept;

private:
    BeatPlace on_clock(const ClockTrack& clock, Time at) const noexcept;
    BarMeter meter_or_common() const { return configured_.beats > 0 ? configured_ : BarMeter{4, 2}; }
    void tell_finder(Time at) noexcept;

    Seconds configured_quarter_;
    BarMeter configured_;
    Meter file_;
    ClockFollower clock_;
    Tapping taps_;
    Tapping from_first_note_;
    BeatFinder finder_;
    bool any_note_{false};
    // A bar line tapped while a clock runs: quarter notes from the start of its song.
    bool bar_tapped_{false};
    double tapped_bar_{0};
};

} // namespace bowarm
