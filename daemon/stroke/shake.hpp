// The tremolo hand: short strokes to and fro at its own rate, in closed form.
//   Each small stroke runs 6 u (1 - u) times its mean speed, u its part done, so that it starts and ends at rest.
//   A pair goes to and fro over the same hair, so that the hand stays where it is; speed and period change between pairs.
//   in       times from the start of the shake; mean speed m/s of each small stroke
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "base/time.hpp"

#include <cstdint>

namespace bowarm
{

struct ShakeManner {
    Duration period;       // of one small stroke
    double unevenness{0};  // the most by which a pair is quicker or slower, as a share
    std::uint32_t seed{0}; // the same seed, the same hand
    double accent{1};      // of the first pair over the others
};

class Shake
{
public:
    void begin(const ShakeManner& manner, Direction first, MetresPerSecond mean_speed) noexcept;
    // The mean speed of the pairs that begin after now.
    void aim(MetresPerSecond mean_speed) noexcept { next_speed_ = mean_speed; }
    // Moves on to the small stroke that now lies in.
    void pass(Duration now) noexcept;

    MetresPerSecond speed(Duration now) const noexcept; // signed, down positive
    Metres travelled(Duration now) const noexcept;      // from the start
    Direction direction() const noexcept { return direction_; }
    std::uint32_t strokes() const noexcept { return strokes_; }
    bool accented() const noexcept { return strokes_ <= 2; }

private:
    double part(Duration now) const noexcept;
    Duration uneven_period() const noexcept;

    ShakeManner manner_;
    Duration period_;
    Duration start_; // of the present small stroke
    Metres before_;  // travelled at its start
    Direction direction_{Direction::down};
    MetresPerSecond speed_, next_speed_;
    std::uint32_t strokes_{0};
};

} // namespace bowarm
