#include "take/part/key_sections.hpp"

#include "take/part/spelling.hpp"

#include <algorithm>

namespace bowarm::part
{
namespace
{

constexpr int signatures = 13; // six flats to six sharps
constexpr int most_flats = -6;
constexpr double accidentals_spared = 32; // quarters of them, by a change
constexpr double nearest_key = 2;         // times that, for one sharp or flat more or less
constexpr std::size_t section_at_least = 16;

std::array<bool, 12> scale_of(int sharps)
{
    std::array<bool, 12> in{};
    for (int fifth = sharps - 1; fifth <= sharps + 5; ++fifth) in[static_cast<std::size_t>(((fifth * 7) % 12 + 12) % 12)] = true;
    return in;
}

double foreign(const PitchClasses& bar, const std::array<bool, 12>& scale)
{
    double sum = 0;
    for (std::size_t i = 0; i < 12; ++i)
        if (!scale[i]) sum += bar[i];
    return sum;
}

double change_costs(int from, int to)
{
    if (from == to) return 0;
    return accidentals_spared * (from - to == 1 || to - from == 1 ? nearest_key : 1);
}

// For each bar the signature that leaves the fewest accidentals, changes weighed against them (Viterbi's algorithm).
std::vector<int> cheapest(std::span<const PitchClasses> bars)
{
    std::array<std::array<bool, 12>, signatures> scales{};
    for (int s = 0; s < signatures; ++s) scales[static_cast<std::size_t>(s)] = scale_of(s + most_flats);
    std::array<double, signatures> cost{};
    std::vector<std::array<std::uint8_t, signatures>> came_from(bars.size());
    for (std::size_t b = 0; b < bars.size(); ++b) {
        std::array<double, signatures> now{};
        for (std::size_t to = 0; to < signatures; ++to) {
            std::size_t best = to;
            for (std::size_t from = 0; from < signatures && b > 0; ++from)
                if (cost[from] + change_costs(static_cast<int>(from), static_cast<int>(to)) <
                    cost[best] + change_costs(static_cast<int>(best), static_cast<int>(to)))
                    best = from;
            came_from[b][to] = static_cast<std::uint8_t>(best);
            now[to] = cost[best] + change_costs(static_cast<int>(best), static_cast<int>(to)) + foreign(bars[b], scales[to]);
        }
        cost = now;
    }
    std::vector<int> sharps(bars.size());
    std::size_t at = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
    for (std::size_t b = bars.size(); b-- > 0;) {
        sharps[b] = static_cast<int>(at) + most_flats;
        at = came_from[b][at];
    }
    return sharps;
}

bool is_minor(std::span<const PitchClasses> bars, int sharps)
{
    PitchClasses sum{};
    for (const PitchClasses& bar : bars)
        for (std::size_t i = 0; i < 12; ++i) sum[i] += bar[i];
    const std::size_t tonic = static_cast<std::size_t>(((sharps * 7) % 12 + 12) % 12), relative = (tonic + 9) % 12;
    // The fifth of the minor key's chord against the third below it in the major's: what sounds more is home.
    return sum[relative] + sum[(relative + 8) % 12] > sum[tonic] + sum[(tonic + 7) % 12];
}

} // namespace

std::vector<KeyFrom> key_sections(std::span<const PitchClasses> bars, KeyChange whole)
{
    const std::vector<int> sharps = cheapest(bars);
    std::vector<KeyFrom> keys;
    for (std::size_t begin = 0; begin < bars.size();) {
        std::size_t end = begin;
        while (end < bars.size() && sharps[end] == sharps[begin]) ++end;
        if (end - begin < section_at_least) return {{0, whole}};
        keys.push_back({begin, {static_cast<std::int8_t>(sharps[begin]), is_minor(bars.subspan(begin, end - begin), sharps[begin])}});
        begin = end;
    }
    if (keys.size() < 2) return {{0, whole}};
    return keys;
}

} // namespace bowarm::part
