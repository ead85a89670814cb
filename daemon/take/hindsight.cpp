#include "take/hindsight.hpp"

#include "base/arithmetic.hpp"
#include "bow/place.hpp"
#include "phrase/rhythm.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <limits>
#include <map>
#include <utility>

namespace bowarm
{
namespace
{

constexpr int places = 24; // of the hair, in the search
constexpr std::size_t states = 2 * places;
constexpr double never = std::numeric_limits<double>::infinity();
constexpr double hair_of_a_bounce = 0.03; // strokes to and fro stay about where they are

std::size_t bucket(HairFraction place)
{
    return static_cast<std::size_t>(std::clamp(static_cast<int>(place.value * places), 0, places - 1));
}

HairFraction middle(int bucket) { return HairFraction{(bucket + 0.5) / places}; }

constexpr double strong = 0.75; // beat weight
constexpr Seconds long_note{1}, long_rest{1};

// What live could only expect: where a group reaches its first strong beat, and which notes are long last ones.
void see_what_follows(std::vector<Decision>& decisions)
{
    bool arriving = false;
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        ChoiceNeeds& n = decisions[i].needs;
        n.ahead_confidence = 0;
        n.figure.reset();
        const bool last = i + 1 == decisions.size() || decisions[i + 1].needs.gap >= long_rest;
        n.final_long = last && n.expected >= long_note;
        const bool on_strong_beat = n.beat.confidence > 0 && n.beat.weight >= strong;
        if (begins_group(n)) {
            arriving = !on_strong_beat;
            continue;
        }
        n.arrives = arriving && on_strong_beat;
        if (n.arrives) arriving = false;
    }
}

// The decisions with the lengths that the strokes turned out to have.
std::vector<Decision> with_known_lengths(const Recorder& live)
{
    std::vector<Decision> decisions = live.decisions();
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        const Time end = i + 1 < decisions.size() ? decisions[i + 1].at : live.latest();
        const Seconds gap = i + 1 < decisions.size() ? decisions[i + 1].needs.gap : Seconds{0};
        const Seconds length = to_seconds(end - decisions[i].at) - gap;
        decisions[i].needs.expected = clamp(length, Seconds{0.05}, Seconds{12});
        decisions[i].needs.length_known = true;
        decisions[i].needs.automatic = true;
    }
    // Which notes are the short ones of repeated dotted pairs is no longer a guess.
    std::vector<bool> short_one(decisions.size() + 2, false);
    for (std::size_t i = 1; i + 1 < decisions.size(); ++i) {
        const Seconds before = to_seconds(decisions[i].at - decisions[i - 1].at);
        const Seconds own = to_seconds(decisions[i + 1].at - decisions[i].at);
        short_one[i] = own > Seconds{0} && is_dotted(before / own) && !decisions[i].needs.stays;
    }
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        const bool repeated = (i >= 2 && short_one[i - 2]) || short_one[i + 2];
        decisions[i].needs.short_after_long = short_one[i] && repeated;
    }
    see_what_follows(decisions);
    return decisions;
}

// Where the bow is after the stroke: at the liked speed, or as slow as the hair asks for; past the end it has come back.
HairFraction after(const Instrument& instrument, const ChoiceNeeds& n, const BowOption& option)
{
    if (n.stays) return clamp(option.from + HairFraction{sign(option.direction) * hair_of_a_bounce}, HairFraction{0}, HairFraction{1});
    const HairFraction left = option.direction == Direction::down ? HairFraction{1} - option.from : option.from;
    const double usual = n.speed * n.expected / instrument.hair;
    const double liked = usual * drift(n.preferred, option.from, HairFraction{usual}, option.direction);
    const double least = n.slowest * n.expected / instrument.hair;
    double used = std::min(liked, std::max(left.value, least));
    double place = option.from.value;
    double way = sign(option.direction);
    while (used > 0) {
        const double room = way > 0 ? 1 - place : place;
        const double step = std::min(room, used);
        place += way * step;
        used -= step;
        way = -way;
    }
    return HairFraction{std::clamp(place, 0.0, 1.0)};
}

// How a state was reached: the state before, and the stroke that led here.
struct Step {
    std::int8_t from{-1};
    bool up{false};
    bool retake{false};
};

double exact_cost(const Instrument& instrument, const std::vector<Decision>& decisions, const std::vector<PlannedStroke>& path)
{
    double cost = 0;
    HairFraction place;
    Direction last = Direction::up;
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        ChoiceNeeds n = decisions[i].needs;
        n.last = last;
        n.place = place;
        const BowOption* taken = nullptr;
        const auto options = bow_options(instrument, n);
        for (const BowOption& o : options) {
            const bool wanted = o.direction == path[i].direction && o.retake == path[i].retake;
            const bool nearly = o.direction == path[i].direction; // the retake did not fit at this place
            if (wanted || (nearly && taken == nullptr)) taken = &o;
        }
        if (taken == nullptr) taken = &options[0];
        cost += taken->cost;
        place = after(instrument, n, *taken);
        last = path[i].direction;
    }
    return cost;
}

using Costs = std::array<double, states>;

// One stroke further: the cheapest way into each state, and how.
Costs advance(const Instrument& instrument, const ChoiceNeeds& needs, const Costs& before, std::array<Step, states>& steps)
{
    Costs costs;
    costs.fill(never);
    for (std::size_t state = 0; state < states; ++state) {
        if (before[state] == never) continue;
        ChoiceNeeds n = needs;
        n.last = state % 2 == 0 ? Direction::down : Direction::up;
        n.place = middle(static_cast<int>(state / 2));
        for (const BowOption& o : bow_options(instrument, n)) {
            const bool up = o.direction == Direction::up;
            const std::size_t next = 2 * bucket(after(instrument, n, o)) + (up ? 1 : 0);
            if (before[state] + o.cost >= costs[next]) continue;
            costs[next] = before[state] + o.cost;
            steps[next] = {static_cast<std::int8_t>(state), up, o.retake};
        }
    }
    return costs;
}

std::vector<PlannedStroke> cheapest(const Instrument& instrument, const std::vector<Decision>& decisions)
{
    Costs costs;
    costs.fill(never);
    costs[1] = 0; // as live begins: after an up-bow, with the bow in the air
    std::vector<std::array<Step, states>> steps(decisions.size());
    for (std::size_t i = 0; i < decisions.size(); ++i) costs = advance(instrument, decisions[i].needs, costs, steps[i]);
    std::vector<PlannedStroke> plan(decisions.size());
    auto state = static_cast<std::size_t>(std::min_element(costs.begin(), costs.end()) - costs.begin());
    for (std::size_t i = decisions.size(); i > 0; --i) {
        const Step& step = steps[i - 1][state];
        plan[i - 1] = {decisions[i - 1].note, step.up ? Direction::up : Direction::down, step.retake};
        state = static_cast<std::size_t>(step.from);
    }
    return plan;
}

// A figure: where in the bar a group begins, and the lengths of its first strokes, in parts of a beat.
using Figure = std::array<std::int32_t, 6>;

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

// The same figure is bowed the same way when it returns: the way most of them went, or else the first, is asked of all.
void remember_figures(std::vector<Decision>& decisions, const std::vector<PlannedStroke>& plan)
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
        const std::int32_t most = downs[figure];
        decisions[i].needs.figure = most > 0 ? Direction::down : most < 0 ? Direction::up : first.at(figure);
    }
}

} // namespace

Hindsight bow_again(const Instrument& instrument, const Recorder& live)
{
    std::vector<Decision> decisions = with_known_lengths(live);
    remember_figures(decisions, cheapest(instrument, decisions));
    std::vector<PlannedStroke> path;
    for (const Decision& d : decisions) path.push_back({d.note, d.direction, d.retake});
    Hindsight result;
    result.plan = cheapest(instrument, decisions);
    result.cost = exact_cost(instrument, decisions, result.plan);
    result.live_cost = exact_cost(instrument, decisions, path);
    if (result.live_cost <= result.cost) {
        result.plan = path;
        result.cost = result.live_cost;
        result.live_kept = true;
    }
    std::sort(result.plan.begin(), result.plan.end(), [](const PlannedStroke& a, const PlannedStroke& b) { return a.note < b.note; });
    return result;
}

} // namespace bowarm
