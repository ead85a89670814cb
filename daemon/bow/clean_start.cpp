#include "bow/clean_start.hpp"

#include <cmath>

namespace bowarm
{

AccelerationRange clean_start(Newtons force, Beta beta, Seconds period, KilogramsPerSecond impedance, const Friction& friction) noexcept
{
    const double b = beta.value;
    const double s = friction.sticking;
    const double d = friction.sliding;
    const double unit = b * (1 - b) * force.value / (period.value * impedance.value);
    const double low = 3 * s - d - 2 * std::sqrt(2 * s * s - s * d);
    const double high = ((3 - 4 * b) * s - d - 2 * std::sqrt((1 - 2 * b) * (2 * (1 - b) * s * s - s * d))) / (1 - 2 * b);
    return {MetresPerSecondSquared{unit * low}, MetresPerSecondSquared{unit * high}};
}

Seconds first_slip(Newtons force, Beta beta, Seconds period, KilogramsPerSecond impedance, double sticking,
                   MetresPerSecondSquared acceleration) noexcept
{
    const double b = beta.value;
    return Seconds{std::sqrt(sticking * force.value * b * (1 - b) * period.value / (impedance.value * acceleration.value))};
}

} // namespace bowarm
