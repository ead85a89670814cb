#include "stroke/shake.hpp"

namespace bowarm
{
namespace
{

// SplitMix64 (S. Vigna, public domain), as a number in [-1, 1).
double scatter(std::uint64_t n)
{
    std::uint64_t z = (n + 1) * 0x9E3779B97F4A7C15ULL;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    z ^= z >> 31;
    return static_cast<double>(z >> 11) / 4503599627370496.0 - 1.0; // 2^52
}

} // namespace

void Shake::begin(const ShakeManner& manner, Direction first, MetresPerSecond mean_speed) noexcept
{
    *this = Shake{};
    manner_ = manner;
    direction_ = first;
    next_speed_ = mean_speed;
    speed_ = mean_speed * manner.accent;
    strokes_ = 1;
    period_ = uneven_period();
}

Duration Shake::uneven_period() const noexcept
{
    const std::uint64_t pair = static_cast<std::uint64_t>(manner_.seed) << 32 | strokes_ / 2;
    const double factor = 1 + manner_.unevenness * scatter(pair);
    return {static_cast<std::int64_t>(static_cast<double>(manner_.period.ns) * factor)};
}

void Shake::pass(Duration now) noexcept
{
    while (now >= start_ + period_) {
        before_ = before_ + speed_ * to_seconds(period_) * sign(direction_);
        start_ = start_ + period_;
        direction_ = opposite(direction_);
        if (strokes_ % 2 == 0) {
            speed_ = next_speed_;
            period_ = uneven_period();
        }
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
