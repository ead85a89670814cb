// The few functions of the core that are more than + - * /.
//   Built from those and sqrt alone, so gcc and clang, with and without FMA, give the same bits.
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include <cmath>
#include <cstdint>

namespace bowarm
{

// Rises from 0 to 1 over u in [0, 1] with zero slope at both ends: one lobe of acceleration.
constexpr double smooth_rise(double u) { return u <= 0 ? 0 : (u >= 1 ? 1 : u * u * (3 - 2 * u)); }
// Its integral from 0 to u, u in [0, 1].
constexpr double smooth_rise_integral(double u) { return u * u * u * (1 - 0.5 * u); }

// 2^x for |x| <= 60; relative error below 1e-9 (Taylor series of e^(x ln 2) to the ninth power on half an octave).
constexpr double power_of_two(double x)
{
    const auto whole = static_cast<std::int64_t>(x < 0 ? x - 0.5 : x + 0.5);
    const double y = (x - static_cast<double>(whole)) * 0.693147180559945309417;
    double term = 1;
    double sum = 1;
    for (int n = 1; n <= 9; ++n) {
        term *= y / n;
        sum += term;
    }
    double scale = 1;
    for (std::int64_t i = 0; i < (whole < 0 ? -whole : whole); ++i) scale *= 2;
    return whole < 0 ? sum / scale : sum * scale;
}

// log2(x) for x in [2^-60, 2^60]; error below 1e-9 (area hyperbolic tangent series on half an octave).
constexpr double log_of_two(double x)
{
    double whole = 0;
    while (x > 1.4142135623730951) {
        x *= 0.5;
        whole += 1;
    }
    while (x < 0.7071067811865476) {
        x *= 2;
        whole -= 1;
    }
    const double z = (x - 1) / (x + 1);
    const double z2 = z * z;
    double term = z;
    double sum = 0;
    for (int n = 1; n <= 15; n += 2) {
        sum += term / n;
        term *= z2;
    }
    return whole + sum * 2.88539008177792681472; // 2 / ln 2
}

// x^p for x > 0, |p log2 x| <= 60.
constexpr double power(double x, double p) { return power_of_two(p * log_of_two(x)); }

constexpr double between(double low, double high, double u) { return low + (high - low) * u; }

// Nearest whole number, halves away from zero; for |x| below 2^62.
constexpr std::int64_t nearest(double x) { return static_cast<std::int64_t>(x < 0 ? x - 0.5 : x + 0.5); }

// Frequency of a key in equal temperament, A4 = key 69 = 440 Hz (MIDI 1.0 Detailed Specification 4.2.1, note numbers).
constexpr double key_frequency(double key) { return 440.0 * power_of_two((key - 69.0) / 12.0); }

} // namespace bowarm
