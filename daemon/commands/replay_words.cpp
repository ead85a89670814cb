#include "commands/replay_words.hpp"

#include "commands/exit_codes.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdio>
#include <limits>
#include <map>
#include <optional>
#include <string_view>
#include <utility>
#include <vector>

namespace bowarm
{
namespace
{

struct Bowed {
    std::size_t strokes{0}, retakes{0}, hooked{0}, forced{0}, warnings{0};
};

Bowed counted(const Recorder& take)
{
    Bowed b;
    for (const Fact& f : take.facts()) {
        if (f.kind == FactKind::warning) ++b.warnings;
        if (f.kind != FactKind::stroke_began) continue;
        ++b.strokes;
        b.retakes += f.retake;
        b.hooked += f.hooked;
        b.forced += f.forced;
    }
    return b;
}

struct Pair {
    std::size_t live{0}, hindsight{0};
};

// By bar; 0 where the bar is not known.
std::map<std::int32_t, Pair> warnings_by_bar(const Recorder& live, const Recorder& again)
{
    std::map<std::int32_t, Pair> bars;
    for (const Fact& f : live.facts())
        if (f.kind == FactKind::warning) ++bars[f.place.bar].live;
    for (const Fact& f : again.facts())
        if (f.kind == FactKind::warning) ++bars[f.place.bar].hindsight;
    return bars;
}

constexpr std::size_t bars_shown = 16;
constexpr std::int32_t other_bars = std::numeric_limits<std::int32_t>::max(); // behind every other

// A long piece shows its worst bars and the sum of the others.
std::map<std::int32_t, Pair> worst_bars(const std::map<std::int32_t, Pair>& all)
{
    if (all.size() <= bars_shown) return all;
    std::vector<std::pair<std::int32_t, Pair>> bars(all.begin(), all.end());
    std::stable_sort(bars.begin(), bars.end(),
                     [](const auto& a, const auto& b) { return a.second.live + a.second.hindsight > b.second.live + b.second.hindsight; });
    std::map<std::int32_t, Pair> shown(bars.begin(), bars.begin() + bars_shown);
    Pair& others = shown[other_bars];
    for (auto bar = bars.begin() + bars_shown; bar != bars.end(); ++bar) {
        others.live += bar->second.live;
        others.hindsight += bar->second.hindsight;
    }
    return shown;
}

std::string bar_words(std::int32_t bar) { return bar == other_bars ? "  others" : bar > 0 ? "  bar " + std::to_string(bar) : "  no bar"; }

void row(const std::string& word, std::size_t one, std::size_t other) { std::printf("%-10s %6zu %10zu\n", word.c_str(), one, other); }

std::string place_before(BarPlace place)
{
    if (place.bar <= 0) return "";
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "bar %d beat %.2f: ", place.bar, place.beat);
    return text.data();
}

std::optional<std::int32_t> bar_number(std::string_view text)
{
    std::int32_t bar = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), bar);
    if (error != std::errc{} || end != text.data() + text.size() || bar < 1) return std::nullopt;
    return bar;
}

std::string bars_text(const Bars& bars)
{
    return std::to_string(bars.first) + (bars.first == bars.last ? "" : "-" + std::to_string(bars.last));
}

} // namespace

Bars bars_of(const std::string& name, const std::string& text)
{
    const std::string option = "bowarmd replay: " + name + " ";
    const std::size_t dash = text.find('-');
    const auto first = bar_number(std::string_view{text}.substr(0, dash));
    const auto last = dash == std::string::npos ? first : bar_number(std::string_view{text}.substr(dash + 1));
    if (!first || !last) throw CommandFailure(exit_code::usage, option + "needs a bar or a range of bars, counted from 1: 12 or 12-14");
    if (*last < *first) throw CommandFailure(exit_code::usage, option + text + " runs backwards; write " + bars_text({*last, *first}));
    return {*first, *last};
}

void refuse_unknown_bars(const Bars& bars, const Recorder& take, const std::string& file)
{
    std::int32_t least = 0, most = 0;
    bool any = false;
    for (const Decision& d : take.decisions()) {
        const std::int32_t bar = d.needs.beat.bar;
        if (bar <= 0) continue;
        least = least == 0 ? bar : std::min(least, bar);
        most = std::max(most, bar);
        any = any || (bars.first <= bar && bar <= bars.last);
    }
    if (any) return;
    if (most == 0)
        throw CommandFailure(exit_code::bad_data, file + ": its bars are unknown, it lacks a time signature or a tempo; put them into the "
                                                         "file, or tempo and meter into [time] of the configuration");
    throw CommandFailure(exit_code::usage, "bowarmd replay: --bars " + bars_text(bars) + ": no stroke begins there; " + file +
                                               " has strokes in bars " + std::to_string(least) + " to " + std::to_string(most));
}

void say_what_changed(const Recorder& live, const Recorder& again, const Hindsight& hindsight)
{
    const Bowed a = counted(live);
    const Bowed b = counted(again);
    std::printf("             live  hindsight\n");
    row("strokes", a.strokes, b.strokes);
    row("retakes", a.retakes, b.retakes);
    row("hooked", a.hooked, b.hooked);
    row("forced", a.forced, b.forced);
    row("warnings", a.warnings, b.warnings);
    for (const auto& [bar, pair] : worst_bars(warnings_by_bar(live, again))) row(bar_words(bar), pair.live, pair.hindsight);
    std::printf("%-10s %6.1f %10.1f%s\n", "cost", hindsight.live_cost, hindsight.cost,
                hindsight.live_kept ? "  (live's own bowing was kept)" : "");
    if (hindsight.doubled > 0)
        std::printf("%-10s %6zu %10zu  of %zu strokes that another player doubles\n", "alike", hindsight.live_alike, hindsight.alike,
                    hindsight.doubled);
    std::printf("%-10s %6.1f, %zu %s the other way\n", "regret", hindsight.regret(), hindsight.differing,
                hindsight.differing == 1 ? "stroke goes" : "strokes go");
}

void say_warnings(const Recorder& take)
{
    for (const Fact& fact : take.facts()) {
        if (fact.kind != FactKind::warning) continue;
        const double seconds = to_seconds(fact.at - take.origin()).value;
        std::fprintf(stderr, "%.3f s: %s%s: %s\n", seconds, place_before(fact.place).c_str(),
                     std::string{warning_word(fact.warning)}.c_str(), warning_sentence(fact).c_str());
    }
}

bool say_outcomes(std::span<const WishOutcome> outcomes, const std::string& file)
{
    std::fflush(stdout); // so that both streams keep their order in one file
    std::size_t refused = 0;
    for (const WishOutcome& o : outcomes) {
        if (o.refused.empty()) continue;
        ++refused;
        std::fprintf(stderr, "%s:%zu: %s: refused: %s\n", file.c_str(), o.line, o.wish.c_str(), o.refused.c_str());
    }
    std::printf("wishes: %zu obeyed, %zu refused\n", outcomes.size() - refused, refused);
    return refused == 0;
}

} // namespace bowarm
