// Bar and beat from the tempos and time signatures of a file.
//   thread   the player's.  Real-time safe: yes.  Errors: none; an unknown place has confidence 0.
#pragma once

#include "base/time.hpp"
#include "phrase/beat_place.hpp"

namespace bowarm
{

class Meter
{
public:
    // quarter: its length until the file tells it; 0: unknown.
    explicit Meter(Seconds quarter) : quarter_(quarter) {}

    void tempo(Time at, Seconds quarter) noexcept;
    // A bar begins now.  One that was cut short by it counts as a bar: an upbeat is bar 1.
    void meter(Time at, BarMeter meter) noexcept;

    bool known() const { return meter_.beats > 0 && quarter_ > Seconds{0}; }
    BarMeter meter() const { return meter_; }
    Seconds quarter() const { return quarter_; }
    BeatPlace place(Time at) const noexcept;

private:
    Seconds beat_length() const { return quarter_ * quarters_of_beat(meter_); }
    double beats_since_anchor(Time at) const { return anchor_beat_ + to_seconds(at - anchor_) / beat_length(); }

    Seconds quarter_;
    BarMeter meter_;
    Time anchor_;
    double anchor_beat_{0}; // beats from the start of anchor_bar_ at anchor_
    std::int32_t anchor_bar_{1};
};

} // namespace bowarm
