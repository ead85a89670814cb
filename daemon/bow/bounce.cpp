#include "bow/bounce.hpp"

#include <cmath>

namespace bowarm
{
namespace
{

constexpr double two_pi = 6.283185307179586;

} // namespace

Hertz natural_rate(const BouncingBow& bow, Metres contact) noexcept
{
    const double l = bow.hair.value;
    const double r = contact.value;
    return Hertz{std::sqrt(bow.tension.value * l * r / ((l - r) * bow.inertia.value)) / two_pi};
}

Metres bouncing_place(const BouncingBow& bow, Hertz rate) noexcept
{
    const double w = two_pi * rate.value;
    const double k = w * w * bow.inertia.value;
    return Metres{k * bow.hair.value / (bow.tension.value * bow.hair.value + k)};
}

Contact ricochet_contact(const BouncingBow& bow, Seconds first_interval, int k) noexcept
{
    Contact c;
    Seconds interval = first_interval;
    for (int i = 0; i < k; ++i) {
        c.at = c.at + interval;
        c.force *= bow.restitution;
        interval = interval * bow.restitution;
    }
    return c;
}

} // namespace bowarm
