#include "take/figures.hpp"

#include "base/arithmetic.hpp"

#include <array>
#include <cstdint>
#include <cstdlib>
#include <map>
#include <utility>

namespace bowarm
{
namespace
{

constexpr double parts = 6; // of a beat

// A figure: where in the bar a group begins, and the lengths of its first two strokes, in parts of a beat.
using Figure = std::array<std::int32_t, 3>;

Figure figure_at(const std::vector<Decision>& decisions, std::size_t i)
{
    const ChoiceNeeds& n = decisions[i].needs;
    const bool metric = n.beat.confidence > 0 && n.beat.beat_length > Seconds{0};
    const Seconds unit = metric ? n.beat.beat_length : n.expected;
    Figure figure{};
    figure[0] = metric ? static_cast<std::int32_t>(nearest(n.beat.nearest * parts)) : -1;
    for (std::size_t k = 1; k < figure.size() && i + k < decisions.size(); ++k) {
        const Seconds onset_to_onset = to_seconds(decisions[i + k].at - decisions[i + k - 1].at);
        figure[k] = static_cast<std::int32_t>(nearest(onset_to_onset / unit * parts));
        if (begins_group(decisions[i + k].needs)) break;
    }
    return figure;
}

// A bar from its first stroke on: where in it strokes begin, in parts of a beat.
struct Bar {
    std::size_t first;
    std::vector<std::int32_t> begins;
};

std::vector<Bar> bars_of(const std::vector<Decision>& decisions)
{
    constexpr double sure_enough = 0.5;
    std::vector<Bar> bars;
    std::int32_t before = 0;
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        const BeatPlace& place = decisions[i].needs.beat;
        const bool known = place.bar > 0 && place.confidence > sure_enough;
        if (known && place.bar != before) bars.push_back({i, {}});
        if (known) bars.back().begins.push_back(static_cast<std::int32_t>(nearest(place.nearest * parts)));
        before = known ? place.bar : 0;
    }
    return bars;
}

// Bars of several strokes whose rhythm returns: as most of them went.
void bow_bars_alike(std::vector<Decision>& decisions, const std::vector<PlannedStroke>& plan)
{
    constexpr double as_sure_as_a_group = 0.8;
    const std::vector<Bar> bars = bars_of(decisions);
    struct Went {
        std::int32_t times{0}, more_downs{0};
    };
    std::map<std::vector<std::int32_t>, Went> went;
    for (const Bar& bar : bars) {
        ++went[bar.begins].times;
        went[bar.begins].more_downs += plan[bar.first].direction == Direction::down ? 1 : -1;
    }
    for (const Bar& bar : bars) {
        const auto [times, most] = went[bar.begins];
        // Bars that alternate by themselves, as in triple time, have no way of their own.
        const bool undecided = 4 * std::abs(most) < times;
        if (bar.begins.size() < 2 || times < 2 || undecided) continue;
        ChoiceNeeds& n = decisions[bar.first].needs;
        if (n.doubled) continue;
        n.figure_confidence = as_sure_as_a_group;
        n.figure = most > 0 ? Direction::down : Direction::up;
    }
}

} // namespace

void bow_figures_alike(std::vector<Decision>& decisions, const std::vector<PlannedStroke>& plan)
{
    bow_bars_alike(decisions, plan);
    std::map<Figure, std::int32_t> downs; // more downs than ups
    std::map<Figure, Direction> first;
    std::vector<std::pair<std::size_t, Figure>> groups;
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        if (!begins_group(decisions[i].needs)) continue;
        groups.emplace_back(i, figure_at(decisions, i));
        first.emplace(groups.back().second, plan[i].direction);
        downs[groups.back().second] += plan[i].direction == Direction::down ? 1 : -1;
    }
    for (const auto& [i, figure] : groups) {
        if (decisions[i].needs.doubled) continue; // the other player bows its own figures alike
        const std::int32_t most = downs[figure];
        decisions[i].needs.figure_confidence = 1;
        decisions[i].needs.figure = most > 0 ? Direction::down : most < 0 ? Direction::up : first.at(figure);
    }
}

} // namespace bowarm
