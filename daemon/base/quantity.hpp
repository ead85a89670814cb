// Quantities whose units are types: a raw number has to name its unit before it gets in.
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

namespace bowarm
{

template <class Tag> struct Quantity {
    double value{};

    constexpr Quantity() = default;
    explicit constexpr Quantity(double v) : value(v) {}

    constexpr bool operator==(const Quantity&) const = default;
    // One by one: through <=> each costs two more branches, for numbers that are none.
    friend constexpr bool operator<(Quantity a, Quantity b) { return a.value < b.value; }
    friend constexpr bool operator>(Quantity a, Quantity b) { return a.value > b.value; }
    friend constexpr bool operator<=(Quantity a, Quantity b) { return a.value <= b.value; }
    friend constexpr bool operator>=(Quantity a, Quantity b) { return a.value >= b.value; }

    friend constexpr Quantity operator+(Quantity a, Quantity b) { return Quantity{a.value + b.value}; }
    friend constexpr Quantity operator-(Quantity a, Quantity b) { return Quantity{a.value - b.value}; }
    friend constexpr Quantity operator-(Quantity a) { return Quantity{-a.value}; }
    friend constexpr Quantity operator*(Quantity a, double k) { return Quantity{a.value * k}; }
    friend constexpr Quantity operator*(double k, Quantity a) { return Quantity{a.value * k}; }
    friend constexpr Quantity operator/(Quantity a, double k) { return Quantity{a.value / k}; }
    friend constexpr double operator/(Quantity a, Quantity b) { return a.value / b.value; }
};

using Seconds = Quantity<struct SecondsTag>;
using Metres = Quantity<struct MetresTag>;
using MetresPerSecond = Quantity<struct MetresPerSecondTag>;
using MetresPerSecondSquared = Quantity<struct MetresPerSecondSquaredTag>;
using Newtons = Quantity<struct NewtonsTag>;
using Hertz = Quantity<struct HertzTag>;
using KilogramsPerSecond = Quantity<struct KilogramsPerSecondTag>; // wave impedance, bridge resistance
using Kilograms = Quantity<struct KilogramsTag>;

// Distance from bow to bridge over the sounding length of the string, in (0, 1).
using Beta = Quantity<struct BetaTag>;
// Place on the usable hair: 0 at the frog, 1 at the tip.
using HairFraction = Quantity<struct HairFractionTag>;
// How loud the person wants it: 0 the softest tone the instrument gives, 1 the loudest.
using Loudness = Quantity<struct LoudnessTag>;

constexpr Metres operator*(MetresPerSecond v, Seconds t) { return Metres{v.value * t.value}; }
constexpr Metres operator*(Seconds t, MetresPerSecond v) { return v * t; }
constexpr MetresPerSecond operator/(Metres d, Seconds t) { return MetresPerSecond{d.value / t.value}; }
constexpr Seconds operator/(Metres d, MetresPerSecond v) { return Seconds{d.value / v.value}; }
constexpr MetresPerSecondSquared operator/(MetresPerSecond v, Seconds t) { return MetresPerSecondSquared{v.value / t.value}; }
constexpr Seconds operator/(MetresPerSecond v, MetresPerSecondSquared a) { return Seconds{v.value / a.value}; }
constexpr Metres operator*(HairFraction h, Metres hair) { return Metres{h.value * hair.value}; }

template <class Q> constexpr Q clamp(Q q, Q low, Q high) { return q < low ? low : (high < q ? high : q); }

} // namespace bowarm
