#include "take/part/clefs.hpp"

#include <algorithm>
#include <array>
#include <limits>

namespace bowarm::part
{
namespace
{

struct Staff {
    int lowest, highest; // key numbers of the bottom and the top line
};
constexpr std::array<Staff, 4> staves{{{64, 77}, {53, 67}, {50, 64}, {43, 57}}};
constexpr double semitones_a_ledger_line = 3.5;
constexpr double change_costs = 6;  // ledger lines
constexpr double seldom_read = 0.4; // a note: readers prefer the instrument's own clef, and the one next to it

// Keys between the open strings of the four instruments.
constexpr int below_viola = 54, below_cello = 47, below_bass = 35;

std::vector<Clef> clefs_known_to(int lowest_string)
{
    if (lowest_string > below_viola) return {Clef::treble};
    if (lowest_string > below_cello) return {Clef::alto, Clef::treble};
    return {Clef::bass, Clef::tenor, Clef::treble};
}

double ledger_lines(int key, Clef clef)
{
    const Staff staff = staves[static_cast<std::size_t>(clef)];
    const int beyond = std::max(staff.lowest - key - 2, key - staff.highest - 2); // the notes next to the staff need none
    return beyond <= 0 ? 0 : beyond / semitones_a_ledger_line;
}

} // namespace

ClefSign clef_sign(Clef clef)
{
    constexpr std::array<ClefSign, 4> signs{{{'G', 2}, {'C', 3}, {'C', 4}, {'F', 4}}};
    return signs[static_cast<std::size_t>(clef)];
}

bool sounds_an_octave_lower(const Instrument& instrument)
{
    return !instrument.strings.empty() && instrument.strings[0].open_key.get() <= below_bass;
}

std::vector<Clef> clefs_of(const Instrument& instrument, std::span<const std::vector<int>> bars)
{
    const std::vector<Clef> known = clefs_known_to(instrument.strings.empty() ? below_viola + 1 : instrument.strings[0].open_key.get());
    std::vector<double> cost(known.size(), 0);
    std::vector<std::vector<std::size_t>> from;
    for (const std::vector<int>& bar : bars) {
        const std::size_t best = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
        std::vector<double> now(known.size());
        std::vector<std::size_t> came(known.size());
        for (std::size_t c = 0; c < known.size(); ++c) {
            const bool stays = from.empty() || cost[c] <= cost[best] + change_costs;
            came[c] = stays ? c : best;
            now[c] = stays ? cost[c] : cost[best] + change_costs;
            for (const int key : bar) now[c] += ledger_lines(key, known[c]) + seldom_read * static_cast<double>(c);
        }
        from.push_back(came);
        cost = now;
    }
    std::vector<Clef> clefs(bars.size(), known.front());
    std::size_t at = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
    for (std::size_t i = bars.size(); i-- > 0;) {
        clefs[i] = known[at];
        at = from[i][at];
    }
    return clefs;
}

} // namespace bowarm::part
