#include "take/bar_lines.hpp"

#include "base/arithmetic.hpp"
#include "take/tempo_line.hpp"

#include <algorithm>
#include <cmath>
#include <compare>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <utility>

namespace bowarm
{
namespace
{

constexpr double grain = 0.25; // quarter notes: bars and beats are whole numbers of it
constexpr double off_the_grain = 0.25;
constexpr std::size_t bars_at_most = 12; // that are weighed against each other
// What a change of meter has to win: so many strokes that are sure of it.
constexpr double change = 40;
constexpr double about_now = 0.2; // quarter notes by which a stroke is early for its bar line

struct Bar {
    int length{16}; // grains, of the bar and of its beat
    int beat{4};
    int first{0}; // where bars begin: grains, below length
    auto operator<=>(const Bar&) const = default;
};

struct Claim {
    double quarters{0};
    Bar bar;
    double sure{0};
};

int below(std::int64_t grains, int length) { return static_cast<int>((grains % length + length) % length); }

std::optional<Claim> claim_of(const Decision& decision, const TempoLine& tempos)
{
    const BeatPlace& place = decision.needs.beat;
    if (place.source != BeatSource::playing || place.bar <= 0 || !(place.beat_length > Seconds{0})) return std::nullopt;
    const double beat = place.beat_length / tempos.quarter_at(decision.at) / grain;
    const auto beats = nearest(place.nearest - 1 + place.to_bar / place.beat_length);
    Bar bar;
    bar.beat = static_cast<int>(nearest(beat));
    if (bar.beat < 1 || beats < 2 || std::abs(beat - bar.beat) > off_the_grain) return std::nullopt;
    bar.length = bar.beat * static_cast<int>(beats);
    const double now = tempos.quarters_at(decision.at);
    bar.first = below(nearest(now / grain - (place.beat - 1) * bar.beat), bar.length);
    return Claim{now, bar, place.confidence};
}

// How far a claim bears out a bar, from 0 to 1.
double bears_out(const Bar& claimed, const Bar& bar)
{
    if (claimed == bar) return 1;
    const int shorter = std::min(claimed.length, bar.length);
    if (claimed.first % shorter != bar.first % shorter) return 0;
    if (claimed.length == bar.length) return 0.9;
    if (claimed.length == 2 * bar.length) return 0.6;
    if (bar.length == 2 * claimed.length) return 0.5;
    return 0;
}

std::vector<Claim> claims_of(const Recorder& live, const TempoLine& tempos)
{
    std::vector<Claim> claims;
    for (const Decision& d : live.decisions())
        if (const auto claim = claim_of(d, tempos)) claims.push_back(*claim);
    return claims;
}

std::vector<Bar> most_claimed(const std::vector<Claim>& claims)
{
    std::map<Bar, double> sure;
    for (const Claim& claim : claims) sure[claim.bar] += claim.sure;
    std::vector<std::pair<double, Bar>> ranked;
    for (const auto& [bar, weight] : sure) ranked.emplace_back(weight, bar);
    std::sort(ranked.rbegin(), ranked.rend());
    if (ranked.size() > bars_at_most) ranked.resize(bars_at_most);
    std::vector<Bar> bars;
    for (const auto& [weight, bar] : ranked) bars.push_back(bar);
    return bars;
}

// For each claim the bar that holds there: the way through them that most is said for, where every change costs.
std::vector<std::size_t> best_borne_out(const std::vector<Claim>& claims, const std::vector<Bar>& bars)
{
    std::vector<double> said_for(bars.size(), 0);
    std::vector<std::vector<std::size_t>> from(claims.size(), std::vector<std::size_t>(bars.size()));
    for (std::size_t i = 0; i < claims.size(); ++i) {
        const auto leader = static_cast<std::size_t>(std::max_element(said_for.begin(), said_for.end()) - said_for.begin());
        const double after_change = said_for[leader] - change;
        for (std::size_t b = 0; b < bars.size(); ++b) {
            const bool changes = after_change > said_for[b];
            from[i][b] = changes ? leader : b;
            said_for[b] = (changes ? after_change : said_for[b]) + claims[i].sure * bears_out(claims[i].bar, bars[b]);
        }
    }
    std::vector<std::size_t> way(claims.size());
    auto bar = static_cast<std::size_t>(std::max_element(said_for.begin(), said_for.end()) - said_for.begin());
    for (std::size_t i = claims.size(); i > 0; --i) {
        way[i - 1] = bar;
        bar = from[i - 1][bar];
    }
    return way;
}

// Dotted beats are written as threes of the next shorter note.
BarMeter written(const Bar& bar)
{
    const bool dotted = bar.beat % 3 == 0;
    std::uint8_t unit = 2;
    int note = dotted ? bar.beat / 3 : bar.beat;
    for (; note > 4; note /= 2) --unit;
    for (; note < 4; note *= 2) ++unit;
    return {static_cast<std::uint8_t>(bar.length / bar.beat * (dotted ? 3 : 1)), unit};
}

Input meter_from(const Bar& bar, double quarters, const TempoLine& tempos)
{
    const double length = bar.length * grain, first = bar.first * grain;
    const double line = first + length * std::floor((quarters - first + about_now) / length);
    const BarMeter meter = written(bar);
    Input input = meter_input(tempos.moment_of(line), meter.beats, meter.unit);
    input.source = source_hindsight;
    return input;
}

} // namespace

std::vector<Input> bar_lines_of(const Recorder& live)
{
    const TempoLine tempos(live);
    const auto is_meter = [](const Input& input) { return input.kind == InputKind::meter; };
    if (!tempos.known() || std::any_of(live.inputs().begin(), live.inputs().end(), is_meter)) return {};
    const std::vector<Claim> claims = claims_of(live, tempos);
    if (claims.empty()) return {};
    const std::vector<Bar> bars = most_claimed(claims);
    const std::vector<std::size_t> way = best_borne_out(claims, bars);
    std::vector<Input> found{meter_from(bars[way.front()], tempos.quarters_at(live.decisions().front().at), tempos)};
    for (std::size_t i = 1; i < way.size(); ++i)
        if (way[i] != way[i - 1]) found.push_back(meter_from(bars[way[i]], claims[i].quarters, tempos));
    return found;
}

} // namespace bowarm
