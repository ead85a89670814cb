#include "take/low_tunes.hpp"

#include <algorithm>
#include <cstdint>
#include <set>

namespace bowarm
{
namespace
{

constexpr std::ptrdiff_t tune_strokes = 10;
constexpr std::size_t tune_pitches = 4;
constexpr double uneven = 1.3; // ratio of the longest stroke to the shortest

using Strokes = std::vector<Decision>::iterator;

bool is_tune(Strokes begin, Strokes end)
{
    if (end - begin < tune_strokes) return false;
    std::set<std::uint8_t> pitches;
    for (Strokes s = begin; s != end; ++s) pitches.insert(s->needs.pitch.get());
    const auto shorter = [](const Decision& a, const Decision& b) { return a.needs.expected < b.needs.expected; };
    const auto [shortest, longest] = std::minmax_element(begin, end, shorter);
    return pitches.size() >= tune_pitches && longest->needs.expected > shortest->needs.expected * uneven;
}

} // namespace

void find_low_tunes(std::vector<Decision>& decisions)
{
    const auto low = [](const Decision& d) { return d.needs.low; };
    for (Strokes begin = decisions.begin(); begin != decisions.end();) {
        begin = std::find_if(begin, decisions.end(), low);
        const Strokes end = std::find_if_not(begin, decisions.end(), low);
        if (is_tune(begin, end))
            for (Strokes s = begin; s != end; ++s) s->needs.low_tune = s->needs.weighty;
        begin = end;
    }
}

} // namespace bowarm
