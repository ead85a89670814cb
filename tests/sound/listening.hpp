// What an ear would say of a stretch of sound: its period, how surely it repeats, how strong its fundamental is.
//   in       samples at sound_rate; the period expected, in samples
//   thread   any, pure
#pragma once

#include <span>

namespace bowarm::test
{

struct Repetition {
    double period{0};   // samples, of the best repetition near the one expected
    double likeness{0}; // normalised autocorrelation there, 1: repeats exactly
    double shorter{0};  // the same at a half and a third of the period: near 1 when the tone has jumped up
};

inline constexpr int heard_periods = 6; // that a judgement listens to
// Samples that a judgement needs.
std::size_t samples_needed(double period);

Repetition repetition(std::span<const double> sound, double expected_period);
double cents(double period, double reference_period); // above 0: higher
double level(std::span<const double> sound);          // root mean square about the mean
double decibels(double ratio);
// Amplitude of the partial with that period.
double fundamental(std::span<const double> sound, double period);

} // namespace bowarm::test
