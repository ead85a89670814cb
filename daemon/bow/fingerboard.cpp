#include "bow/fingerboard.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// Common practice, no source: stay in the first position (a fifth above the open string) where it is possible, cross
// to a neighbour rather than climb, climb rather than jump two strings.
constexpr int first_position = 7; // semitones above the open string
constexpr double within_position = 0.05;
constexpr double above_position = 0.35;
constexpr double crossing = 0.6;

double cost(int semitones, int crossed)
{
    const int above = semitones > first_position ? semitones - first_position : 0;
    return within_position * semitones + above_position * above + crossing * (crossed < 0 ? -crossed : crossed);
}

// Common practice, no source: a held note is hardly ever fingered anew.
constexpr double moving_a_held_note = 3;
// Common practice, no source: higher than that on a string that has another above it nobody plays a double stop.
constexpr int highest_below_top_string = 16;

Metres from_nut(const Instrument& instrument, int semitones) { return instrument.string_length * (1 - power_of_two(-semitones / 12.0)); }

bool within_one_hand(const Instrument& instrument, int one, int other)
{
    if (one < 0 || other < 0) return false;
    if (one == 0 || other == 0) return true;
    const Metres apart = from_nut(instrument, one) - from_nut(instrument, other);
    return apart <= instrument.hand_span && -apart <= instrument.hand_span;
}

bool in_range(const Instrument& instrument, Midi7 pitch) { return instrument.lowest_key <= pitch && pitch <= instrument.highest_key; }

} // namespace

Fingering finger(const Instrument& instrument, Midi7 pitch, std::optional<std::uint8_t> current, const StringsTaken& taken) noexcept
{
    Fingering best;
    best.in_range = in_range(instrument, pitch);
    double best_cost = 1e9;
    bool found = false;
    for (std::size_t i = 0; i < instrument.strings.size(); ++i) {
        const int semitones = pitch.get() - instrument.strings[i].open_key.get();
        if (semitones < 0 || taken.taken[i]) continue;
        const int crossed = current ? static_cast<int>(i) - *current : 0;
        const double c = cost(semitones, crossed);
        if (c < best_cost) {
            best_cost = c;
            best.string = static_cast<std::uint8_t>(i);
            found = true;
        }
    }
    best.own_string = found || !best.in_range;
    return best;
}

std::optional<StringPair> finger_together(const Instrument& instrument, Midi7 held, std::optional<std::uint8_t> held_on,
                                          Midi7 other) noexcept
{
    if (!in_range(instrument, held) || !in_range(instrument, other)) return std::nullopt;
    std::optional<StringPair> best;
    double best_cost = 1e9;
    const auto semitones = [&](Midi7 pitch, std::size_t string) { return pitch.get() - instrument.strings[string].open_key.get(); };
    const auto too_high = [&](int one, std::size_t string) {
        return one > highest_below_top_string && string + 1 < instrument.strings.size();
    };
    const auto look = [&](std::size_t a, std::size_t b) {
        const int one = semitones(held, a);
        const int two = semitones(other, b);
        if (too_high(one, a) || too_high(two, b)) return;
        if (!within_one_hand(instrument, one, two)) return;
        const double c = cost(one, 0) + cost(two, 0) + (held_on && *held_on != a ? moving_a_held_note : 0);
        if (c >= best_cost) return;
        best_cost = c;
        best = StringPair{static_cast<std::uint8_t>(a), static_cast<std::uint8_t>(b)};
    };
    for (std::size_t i = 0; i + 1 < instrument.strings.size(); ++i) {
        look(i, i + 1);
        look(i + 1, i);
    }
    return best;
}

} // namespace bowarm
