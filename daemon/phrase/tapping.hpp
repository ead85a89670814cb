// A beat that begins by hand: tapped on a control, or with the first note at a configured tempo; afterwards it follows the notes.
//   thread   the player's.  Real-time safe: yes.  Errors: none; until a beat and its length are known the place is unknown.
#pragma once

#include "base/time.hpp"
#include "phrase/beat_place.hpp"

#include <array>
#include <cstddef>

namespace bowarm
{

class Tapping
{
public:
    // A beat is now; from two taps on, their distance is its length.
    void tap(Time at) noexcept;
    // This tap is the first beat of a bar.  Two of them with taps between tell how many beats a bar has.
    void tap_bar(Time at) noexcept;
    // Bar 1 begins now, at a guess that is as sure as that.
    void begin(Time at, double bar_confidence, double beat_confidence) noexcept;
    // A beat's length that somebody told.  Taps know better.
    void tell_period(Time at, Seconds period) noexcept;
    // A note begins: the beat follows it where it is near a beat or a simple part of one.
    void onset(Time at) noexcept;

    bool known() const { return begun_ && period_ > Seconds{0}; }
    Seconds period() const { return known() ? period_ : Seconds{0}; }
    // meter: its beats are those tapped; where it has none, the one that was tapped holds, else 4/4 at less confidence.
    BeatPlace place(Time at, BarMeter meter, BeatSource source) const noexcept;

private:
    static constexpr std::size_t intervals_at_most = 4;

    void remember(Seconds interval) noexcept;
    double position(Time at) const noexcept;
    double support(Time at) const noexcept;

    bool begun_{false};
    bool tapped_{false};
    Seconds period_{0};
    Time beat_;             // one of the beats
    std::int64_t index_{0}; // of that beat
    std::int64_t bar_{0};   // index of a beat that begins a bar
    std::int32_t bar_number_{1};
    std::uint8_t bar_beats_{0}; // as tapped; 0: not known
    std::uint8_t since_bar_{0}; // taps in one series since the newest first beat
    double bar_confidence_{0};
    double beat_confidence_{0};
    double fit_{1};  // share of the last notes that were where notes can be
    Time supported_; // by the newest tap, or the newest note that fitted
    Time last_tap_;
    std::int64_t last_index_{0};
    std::array<Seconds, intervals_at_most> intervals_{}; // newest first
    std::size_t count_{0};
};

} // namespace bowarm
