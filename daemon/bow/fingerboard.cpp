#include "bow/fingerboard.hpp"

#include "bow/chord.hpp"

namespace bowarm
{
namespace
{

// Common practice, no source: stay in the first position (a fifth above the open string) where it is possible, cross
// to a neighbour rather than climb, climb rather than jump two strings; where the hand is up already, staying costs less than
// going up did, and a shift costs a little.
constexpr int first_position = 7; // semitones above the open string
constexpr double within_position = 0.05;
constexpr double above_position = 0.35;
constexpr double staying_up = 0.5; // share of that where the hand need not move
constexpr double crossing = 0.6;
constexpr double shifting = 0.02; // a semitone
// Common practice, no source: a crossing to an open string is well worth it where it is asked for; a sustained note is given a finger, so
// that it can be coloured like its neighbours.
constexpr double open_and_bare = 1.2;
// The end of the fingerboard, two octaves and a little, bounds the wish for a string.  Common practice, no source.
constexpr int end_of_fingerboard = 26;

double cost(int semitones, int crossed)
{
    const int above = semitones > first_position ? semitones - first_position : 0;
    return within_position * semitones + above_position * above + crossing * (crossed < 0 ? -crossed : crossed);
}

double cost(const Instrument& instrument, const FingerNeeds& needs, int semitones, int crossed)
{
    double c = cost(semitones, crossed);
    if (semitones == 0) return needs.rather_open ? c - open_and_bare : (needs.rather_stopped ? c + open_and_bare : c);
    const int above = semitones > first_position ? semitones - first_position : 0;
    if (within_reach(instrument, needs.hand, semitones)) return c - above_position * above * (1 - staying_up);
    const int shift = moved_to(instrument, needs.hand, semitones).first - needs.hand.first;
    return c + shifting * (shift < 0 ? -shift : shift);
}

// Common practice, no source: a held note is hardly ever fingered anew.
constexpr double moving_a_held_note = 3;

bool in_range(const Instrument& instrument, Midi7 pitch) { return instrument.lowest_key <= pitch && pitch <= instrument.highest_key; }

bool has(const Instrument& instrument, const FingerNeeds& needs, std::size_t string)
{
    if (string >= instrument.strings.size() || needs.taken.taken[string]) return false;
    const int semitones = needs.pitch.get() - instrument.strings[string].open_key.get();
    return semitones >= 0 && semitones <= end_of_fingerboard;
}

} // namespace

std::uint8_t finger(const Instrument& instrument, const FingerNeeds& needs) noexcept
{
    if (needs.wished && has(instrument, needs, *needs.wished)) return *needs.wished;
    std::uint8_t best = 0;
    double best_cost = 1e9;
    for (std::size_t i = 0; i < instrument.strings.size(); ++i) {
        const int semitones = needs.pitch.get() - instrument.strings[i].open_key.get();
        if (semitones < 0 || needs.taken.taken[i]) continue;
        const int crossed = needs.current ? static_cast<int>(i) - *needs.current : 0;
        const double c = cost(instrument, needs, semitones, crossed);
        if (c >= best_cost) continue;
        best_cost = c;
        best = static_cast<std::uint8_t>(i);
    }
    return best;
}

std::optional<StringPair> finger_together(const Instrument& instrument, Midi7 held, std::optional<std::uint8_t> held_on,
                                          Midi7 other) noexcept
{
    if (!in_range(instrument, held) || !in_range(instrument, other)) return std::nullopt;
    std::optional<StringPair> best;
    double best_cost = 1e9;
    const auto semitones = [&](Midi7 pitch, std::size_t string) { return pitch.get() - instrument.strings[string].open_key.get(); };
    const auto too_high = [&](int one, std::size_t string) { return one > highest_in_chords && string + 1 < instrument.strings.size(); };
    const auto look = [&](std::size_t a, std::size_t b) {
        const int one = semitones(held, a);
        const int two = semitones(other, b);
        if (one < 0 || two < 0 || too_high(one, a) || too_high(two, b)) return;
        const StringPair pair{static_cast<std::uint8_t>(a), static_cast<std::uint8_t>(b)};
        const Stop stops[] = {{pair.held, one}, {pair.other, two}};
        if (hold(instrument, stops) != Unplayable::no) return;
        const double c = cost(one, 0) + cost(two, 0) + (held_on && *held_on != a ? moving_a_held_note : 0);
        if (c >= best_cost) return;
        best_cost = c;
        best = pair;
    };
    for (std::size_t i = 0; i + 1 < instrument.strings.size(); ++i) {
        look(i, i + 1);
        look(i + 1, i);
    }
    return best;
}

} // namespace bowarm
