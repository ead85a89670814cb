// The tremolo hand: short strokes to and fro at its own rate, in closed form.
//   Each small stroke runs 6 u (1 - u) times its mean speed, u its part done, so that it starts and ends at rest.
//   in       times from the start of the shake; mean speed m/s of each small stroke
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "base/time.hpp"

#include <cstdint>

namespace bowarm {

class Shake {
public:
    void begin(Duration period, Direction first, MetresPerSecond mean_speed) noexcept;
    // The mean speed of the small strokes that begin after now.
    void aim(MetresPerSecond mean_speed) noexcept { next_speed_ = mean_speed; }
    // Moves on to the small stroke that now lies in.
    void pass(Duration now) noexcept;

    MetresPerSecond speed(Duration now) const noexcept; // signed, down positive
    Metres travelled(Duration now) const noexcept;      // from the start
    Direction direction() const noexcept { return direction_; }
    std::uint32_t strokes() const noexcept { return strokes_; }

private:
    double part(Duration now) const noexcept;

    Duration period_;
    Duration start_;     // of the present small stroke
    Metres before_;      // travelled at its start
    Direction direction_{Direction::down};
    MetresPerSecond speed_, next_speed_;
    std::uint32_t strokes_{0};
};

} // namespace bowarm
