#include "bow/fingerboard.hpp"

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

} // namespace

Fingering finger(const Instrument& instrument, Midi7 pitch, std::optional<std::uint8_t> current, const StringsTaken& taken) noexcept
{
    Fingering best;
    best.in_range = instrument.lowest_key <= pitch && pitch <= instrument.highest_key;
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

} // namespace bowarm
