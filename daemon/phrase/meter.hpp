// Bar and beat from tempo and meter as they are heard or configured.
//   thread   the player's.  Real-time safe: yes.  Errors: none; an unknown place has confidence 0.
#pragma once

#include "base/quantity.hpp"
#include "base/time.hpp"

#include <cstdint>

namespace bowarm
{

struct BeatPlace {
    std::int32_t bar{0};  // from 1
    double beat{0};       // from 1, in beats of the meter, as played
    double nearest{0};    // the beat, or part of a beat, that was meant
    double weight{0};     // 1 the bar's first beat, 0 between the beats
    double confidence{0}; // 0: nothing is known
    Seconds beat_length;
    Seconds to_bar; // until the next bar begins; 0: unknown
};

class Meter
{
public:
    // Quarter notes a minute (0: unknown) and a meter (0 beats: unknown) to begin with; bar 1 begins with the first note.
    Meter(double tempo, std::uint8_t beats, std::uint8_t unit);

    void tempo(Time at, Seconds quarter) noexcept;
    void meter(Time at, std::uint8_t beats, std::uint8_t unit) noexcept;
    void first_note(Time at) noexcept;

    bool known() const { return anchored_ && quarter_.value > 0 && beats_ > 0; }
    Seconds beat_length() const;
    Seconds quarter() const { return quarter_; }
    BeatPlace place(Time at) const noexcept;

private:
    double beats_since_anchor(Time at) const;

    Seconds quarter_;
    std::uint8_t beats_;
    std::uint8_t unit_;
    bool anchored_{false};
    double confidence_;
    Time anchor_;
    double anchor_beat_{0}; // beats from the start of anchor_bar_ at anchor_
    std::int32_t anchor_bar_{1};
};

} // namespace bowarm
