#include "sound/listening.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>

namespace bowarm::test
{
namespace
{

constexpr double search_width = 0.02; // of the period, either way: 35 cents

// Of a period this many samples are compared: fewer than there are, at the full resolution of the lag.
constexpr double compared_in_a_period = 100;

double mean(std::span<const double> sound)
{
    double sum = 0;
    for (const double y : sound) sum += y;
    return sum / static_cast<double>(sound.size());
}

std::size_t whole(double samples) { return static_cast<std::size_t>(std::lround(samples)); }

// Normalised autocorrelation of the first samples, every so many of them, with those a lag later.
double likeness(std::span<const double> sound, double middle, std::size_t samples, std::size_t every, std::size_t lag)
{
    double product = 0, here = 0, there = 0;
    for (std::size_t i = 0; i < samples; i += every) {
        const double a = sound[i] - middle;
        const double b = sound[i + lag] - middle;
        product += a * b;
        here += a * a;
        there += b * b;
    }
    const double power = std::sqrt(here * there);
    return power > std::numeric_limits<double>::min() ? product / power : 0;
}

} // namespace

std::size_t samples_needed(double period) { return whole(period * (heard_periods + 1 + search_width)) + 4; }

Repetition repetition(std::span<const double> sound, double expected_period)
{
    const std::size_t samples = whole(expected_period * heard_periods);
    const std::size_t low = whole(expected_period * (1 - search_width)) - 1;
    const std::size_t high = whole(expected_period * (1 + search_width)) + 1;
    const std::size_t every = std::max<std::size_t>(1, whole(expected_period / compared_in_a_period));
    const double middle = mean(sound.first(samples));
    const auto like = [&](std::size_t l) { return likeness(sound, middle, samples, every, l); };
    Repetition best;
    std::size_t lag = low;
    for (std::size_t l = low; l <= high; ++l) {
        const double r = like(l);
        if (l == low || r > best.likeness) {
            best.likeness = r;
            lag = l;
        }
    }
    // The top of a parabola through the best and its neighbours.
    const double before = like(lag - 1);
    const double after = like(lag + 1);
    const double bend = before - 2 * best.likeness + after;
    best.period = static_cast<double>(lag) + (bend < 0 && lag > low && lag < high ? 0.5 * (before - after) / bend : 0);
    for (const double part : {2.0, 3.0}) best.shorter = std::max(best.shorter, like(whole(best.period / part)));
    return best;
}

double cents(double period, double reference_period) { return 1200 * std::log2(reference_period / period); }

double level(std::span<const double> sound)
{
    const double middle = mean(sound);
    double power = 0;
    for (const double y : sound) power += (y - middle) * (y - middle);
    return std::sqrt(power / static_cast<double>(sound.size()));
}

double decibels(double ratio) { return 20 * std::log10(ratio); }

double fundamental(std::span<const double> sound, double period)
{
    const std::size_t samples = std::min(whole(period * heard_periods), sound.size());
    const double turn = 2 * std::numbers::pi / period;
    double along = 0, across = 0;
    for (std::size_t i = 0; i < samples; ++i) {
        along += sound[i] * std::cos(turn * static_cast<double>(i));
        across += sound[i] * std::sin(turn * static_cast<double>(i));
    }
    return 2 * std::hypot(along, across) / static_cast<double>(samples);
}

} // namespace bowarm::test
