#include "sound/body.hpp"

#include <cmath>
#include <numbers>

namespace bowarm
{
namespace
{

struct Turn {
    double cosine, alpha;
};
Turn turn(double hertz, double q, double rate)
{
    const double w = 2 * std::numbers::pi * hertz / rate;
    return {std::cos(w), std::sin(w) / (2 * q)};
}

} // namespace

Section Section::peak(double hertz, double q, double decibels, double rate)
{
    const auto [c, alpha] = turn(hertz, q, rate);
    const double a = std::pow(10.0, decibels / 40);
    const double a0 = 1 + alpha / a;
    Section s;
    s.b0_ = (1 + alpha * a) / a0;
    s.b1_ = s.a1_ = -2 * c / a0;
    s.b2_ = (1 - alpha * a) / a0;
    s.a2_ = (1 - alpha / a) / a0;
    return s;
}

Section Section::high_pass(double hertz, double q, double rate)
{
    const auto [c, alpha] = turn(hertz, q, rate);
    const double a0 = 1 + alpha;
    Section s;
    s.b0_ = s.b2_ = (1 + c) / 2 / a0;
    s.b1_ = -(1 + c) / a0;
    s.a1_ = -2 * c / a0;
    s.a2_ = (1 - alpha) / a0;
    return s;
}

Section Section::low_pass(double hertz, double q, double rate)
{
    const auto [c, alpha] = turn(hertz, q, rate);
    const double a0 = 1 + alpha;
    Section s;
    s.b0_ = s.b2_ = (1 - c) / 2 / a0;
    s.b1_ = (1 - c) / a0;
    s.a1_ = -2 * c / a0;
    s.a2_ = (1 - alpha) / a0;
    return s;
}

// The resonances are those of instruments.hpp; how much they stand out is ours, by ear.
Body::Body(double scale, double rate)
    : sections_{Section::high_pass(190 * scale, 0.8, rate),
                Section::peak(275 * scale, 6, 7, rate),
                Section::peak(460 * scale, 8, 7, rate),
                Section::peak(540 * scale, 8, 6, rate),
                Section::peak(760 * scale, 3, -4, rate),
                Section::peak(1100 * scale, 4, 4, rate),
                Section::peak(2400 * std::sqrt(scale), 1.2, 5, rate),
                Section::low_pass(4200 * std::sqrt(scale), 0.6, rate)}
{
}

} // namespace bowarm
