#include "take/figures.hpp"

#include "base/arithmetic.hpp"

#include <array>
#include <cstdint>
#include <map>
#include <utility>

namespace bowarm
{
namespace
{

// A figure: where in the bar a group begins, and the lengths of its first two strokes, in parts of a beat.
using Figure = std::array<std::int32_t, 3>;

Figure figure_at(const std::vector<Decision>& decisions, std::size_t i)
{
    constexpr double parts = 6;
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

} // namespace

void bow_figures_alike(std::vector<Decision>& decisions, const std::vector<PlannedStroke>& plan)
{
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
