#include "stroke/shake.hpp"

namespace bowarm {

void Shake::begin(Duration period, Direction first, MetresPerSecond mean_speed) noexcept
{
    *this = Shake{};
    period_ = period;
    direction_ = first;
    speed_ = next_speed_ = mean_speed;
    strokes_ = 1;
}

void Shake::pass(Duration now) noexcept
{
    while (now >= start_ + period_) {
        before_ = before_ + speed_ * to_seconds(period_) * sign(direction_);
        start_ = start_ + period_;
        direction_ = opposite(direction_);
        // A pair goes to and fro over the same hair, so that the hand stays where it is.
        if (strokes_ % 2 == 0) speed_ = next_speed_;
        ++strokes_;
    }
}

double Shake::part(Duration now) const noexcept { return static_cast<double>((now - start_).ns) / static_cast<double>(period_.ns); }

MetresPerSecond Shake::speed(Duration now) const noexcept
{
    const double u = part(now);
    return speed_ * (6 * u * (1 - u)) * sign(direction_);
}

Metres Shake::travelled(Duration now) const noexcept
{
    const double u = part(now);
    return before_ + speed_ * to_seconds(period_) * (u * u * (3 - 2 * u)) * sign(direction_);
}

} // namespace bowarm
