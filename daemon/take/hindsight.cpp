#include "take/hindsight.hpp"

#include "bow/place.hpp"
#include "phrase/rhythm.hpp"
#include "take/figures.hpp"
#include "take/low_tunes.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <limits>

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

constexpr Seconds long_note{1}, long_rest{1};

// A start that is alone before a rest, and the next one is much longer.
bool leads_on(const ChoiceNeeds& start, const ChoiceNeeds& next)
{
    constexpr double much_longer = 2;
    const bool alone = next.gap >= next.lift_after && next.gap < long_rest;
    return alone && !is_strong(start.beat) && start.expected * much_longer < next.expected;
}

// What live could only expect: where a group reaches its first strong beat, what is a pickup, and which notes are long last ones.
void see_what_follows(std::vector<Decision>& decisions)
{
    bool arriving = false;
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        ChoiceNeeds& n = decisions[i].needs;
        n.ahead_confidence = 0;
        n.figure.reset();
        const bool last = i + 1 == decisions.size() || decisions[i + 1].needs.gap >= long_rest;
        n.final_long = last && n.expected >= long_note;
        const bool on_strong_beat = is_strong(n.beat);
        if (begins_group(n)) {
            n.leads_on = !last && leads_on(n, decisions[i + 1].needs);
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
        const BeatPlace& place = decisions[i].needs.beat;
        const bool compound = place.compound && place.source != BeatSource::playing;
        short_one[i] = own > Seconds{0} && is_hooked_pair(before / own, compound) && !decisions[i].needs.stays;
    }
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        const bool repeated = (i >= 2 && short_one[i - 2]) || short_one[i + 2];
        decisions[i].needs.short_after_long = short_one[i] && repeated;
    }
    see_what_follows(decisions);
    find_low_tunes(decisions);
    return decisions;
}

// Where the bow is after the stroke, and which way it went last.
struct Arrival {
    HairFraction place;
    Direction last{Direction::up};
};

// At the liked speed, or as slow as the hair asks for; past the end it has changed and come back.
Arrival after(const Instrument& instrument, const ChoiceNeeds& n, const BowOption& option)
{
    if (n.stays)
        return {clamp(option.from + HairFraction{sign(option.direction) * hair_of_a_bounce}, HairFraction{0}, HairFraction{1}),
                option.direction};
    const HairFraction left = option.direction == Direction::down ? HairFraction{1} - option.from : option.from;
    const double usual = n.speed * n.expected / instrument.hair;
    const double liked = usual * drift(n.preferred, option.from, HairFraction{usual}, option.direction);
    const double least = n.slowest * n.expected / instrument.hair;
    double used = std::min(liked, std::max(left.value, least));
    double place = option.from.value;
    Direction last = option.direction;
    while (true) {
        const double room = last == Direction::down ? 1 - place : place;
        const double step = std::min(room, used);
        place += sign(last) * step;
        used -= step;
        if (!(used > 0)) break;
        last = opposite(last);
    }
    return {HairFraction{std::clamp(place, 0.0, 1.0)}, last};
}

// How a state was reached: the state before, and the stroke that led here.
struct Step {
    std::int8_t from{-1};
    bool up{false};
    bool retake{false};
};

// The way that was taken; where its retake does not fit at this place, the other way in that direction.
const BowOption& taken_of(const FixedVector<BowOption, 4>& options, Direction direction, bool retake)
{
    const BowOption* nearly = nullptr;
    for (const BowOption& o : options) {
        if (o.direction != direction) continue;
        if (o.retake == retake) return o;
        if (nearly == nullptr) nearly = &o;
    }
    return nearly == nullptr ? options[0] : *nearly;
}

// Of a plan: where the bow will be is reckoned.
double reckoned_cost(const Instrument& instrument, const std::vector<Decision>& decisions, const std::vector<PlannedStroke>& plan)
{
    if (decisions.empty()) return 0;
    double cost = 0;
    Arrival bow{decisions.front().needs.place, decisions.front().needs.last};
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        ChoiceNeeds n = decisions[i].needs;
        n.last = bow.last;
        n.place = bow.place;
        const auto options = bow_options(instrument, n);
        const BowOption& taken = taken_of(options, plan[i].direction, plan[i].retake);
        cost += taken.cost;
        bow = after(instrument, n, taken);
    }
    return cost;
}

// Of a bowing that was played: the bow's places are known.
double played_cost(const Instrument& instrument, const std::vector<Decision>& decisions, const std::vector<Decision>& played)
{
    double cost = 0;
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        ChoiceNeeds n = decisions[i].needs;
        n.last = played[i].needs.last;
        n.place = played[i].needs.place;
        const auto options = bow_options(instrument, n);
        cost += taken_of(options, played[i].direction, played[i].retake).cost;
    }
    return cost;
}

using Costs = std::array<double, states>;

// One stroke further: the cheapest way into each state, and how.  A kept stroke has only live's way.
Costs advance(const Instrument& instrument, const Decision& decision, bool kept, const Costs& before, std::array<Step, states>& steps)
{
    Costs costs;
    costs.fill(never);
    for (std::size_t state = 0; state < states; ++state) {
        if (before[state] == never) continue;
        ChoiceNeeds n = decision.needs;
        n.last = state % 2 == 0 ? Direction::down : Direction::up;
        n.place = middle(static_cast<int>(state / 2));
        for (const BowOption& o : bow_options(instrument, n)) {
            if (kept && (o.direction != decision.direction || o.retake != decision.retake)) continue;
            const Arrival arrival = after(instrument, n, o);
            const std::size_t next = 2 * bucket(arrival.place) + (arrival.last == Direction::up ? 1 : 0);
            if (before[state] + o.cost >= costs[next]) continue;
            costs[next] = before[state] + o.cost;
            steps[next] = {static_cast<std::int8_t>(state), o.direction == Direction::up, o.retake};
        }
    }
    return costs;
}

bool is_kept(const Decision& decision, const std::optional<Bars>& only)
{
    const std::int32_t bar = decision.needs.beat.bar;
    return only && (bar < only->first || only->last < bar);
}

// Live's path where nothing else is possible.
std::vector<PlannedStroke> cheapest(const Instrument& instrument, const std::vector<Decision>& decisions,
                                    const std::vector<PlannedStroke>& live, std::size_t begin, const std::optional<Bars>& only)
{
    std::vector<PlannedStroke> plan = live;
    if (begin == decisions.size()) return plan;
    Costs costs;
    costs.fill(never);
    const ChoiceNeeds& first = decisions[begin].needs;
    costs[2 * bucket(first.place) + (first.last == Direction::up ? 1 : 0)] = 0; // where live's bow was
    std::vector<std::array<Step, states>> steps(decisions.size());
    for (std::size_t i = begin; i < decisions.size(); ++i)
        costs = advance(instrument, decisions[i], is_kept(decisions[i], only), costs, steps[i]);
    const auto best = std::min_element(costs.begin(), costs.end());
    if (*best == never) return plan;
    auto state = static_cast<std::size_t>(best - costs.begin());
    for (std::size_t i = decisions.size(); i > begin; --i) {
        const Step& step = steps[i - 1][state];
        plan[i - 1] = {decisions[i - 1].note, step.up ? Direction::up : Direction::down, step.retake, decisions[i - 1].needs.doubled};
        state = static_cast<std::uint8_t>(step.from);
    }
    return plan;
}

std::vector<PlannedStroke> path_of(const std::vector<Decision>& decisions)
{
    std::vector<PlannedStroke> path;
    path.reserve(decisions.size());
    for (const Decision& d : decisions) path.push_back({d.note, d.direction, d.retake, d.needs.doubled});
    return path;
}

// The decisions with all that is known afterwards: lengths, what follows, how others bow what they double, and how figures that
// return are bowed.
std::vector<Decision> as_known_afterwards(const Instrument& instrument, const Recorder& live, const Followed& followed)
{
    std::vector<Decision> decisions = with_known_lengths(live);
    bow_doubled_alike(decisions, followed);
    bow_figures_alike(decisions, cheapest(instrument, decisions, path_of(decisions), 0, std::nullopt));
    return decisions;
}

} // namespace

Hindsight bow_again(const Instrument& instrument, const Recorder& live, std::optional<Bars> only, const Followed& followed)
{
    const std::vector<Decision> decisions = as_known_afterwards(instrument, live, followed);
    const std::vector<PlannedStroke> path = path_of(decisions);
    std::size_t begin = 0;
    while (begin < decisions.size() && is_kept(decisions[begin], only)) ++begin;
    Hindsight result;
    result.plan = cheapest(instrument, decisions, path, begin, only);
    result.cost = reckoned_cost(instrument, decisions, result.plan);
    result.live_cost = played_cost(instrument, decisions, decisions);
    if (result.live_cost <= result.cost) {
        result.cost = result.live_cost;
        result.live_kept = true;
    }
    for (std::size_t i = 0; i < path.size() && !result.live_kept; ++i) result.differing += result.plan[i].direction != path[i].direction;
    result.plan.erase(result.plan.begin(), result.plan.begin() + static_cast<std::ptrdiff_t>(begin));
    std::sort(result.plan.begin(), result.plan.end(), [](const PlannedStroke& a, const PlannedStroke& b) { return a.note < b.note; });
    return result;
}

std::optional<double> cost_as_bowed(const Instrument& instrument, const Recorder& live, const Recorder& bowed, const Followed& followed)
{
    const std::vector<Decision>& played = bowed.decisions();
    const auto same_note = [](const Decision& a, const Decision& b) { return a.note == b.note; };
    if (!std::equal(live.decisions().begin(), live.decisions().end(), played.begin(), played.end(), same_note)) return std::nullopt;
    return played_cost(instrument, as_known_afterwards(instrument, live, followed), played);
}

} // namespace bowarm
