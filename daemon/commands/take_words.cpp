#include "commands/take_words.hpp"

#include "studio/build_id.hpp"
#include "studio/text_array.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
#include <cstdio>

namespace bowarm
{
namespace
{

template <class... Values> std::string printed(const char* form, Values... values)
{
    std::array<char, 400> text{};
    std::snprintf(text.data(), text.size(), form, values...);
    return text.data();
}

std::string clock_text(Duration length)
{
    const long long seconds = length.ns / 1'000'000'000;
    return printed("%lld:%02lld", seconds / 60, seconds % 60);
}

std::string place_text(const Recorder& take, Time at, BarPlace place)
{
    std::string text = printed("%.2f s", to_seconds(std::max(at, take.origin()) - take.origin()).value);
    if (place.bar > 0) text += ", bar " + std::to_string(place.bar);
    return text;
}

std::string doings_text(const Journal& journal, const PlayersReplay& one)
{
    const Recorder& take = one.replay.take;
    std::size_t strokes = 0, warnings = 0, notes = 0;
    std::int32_t first_bar = 0, last_bar = 0;
    for (const Fact& fact : take.facts()) {
        strokes += fact.kind == FactKind::stroke_began ? 1 : 0;
        warnings += fact.kind == FactKind::warning ? 1 : 0;
        if (fact.kind != FactKind::stroke_began || fact.place.bar <= 0) continue;
        first_bar = first_bar == 0 ? fact.place.bar : std::min(first_bar, fact.place.bar);
        last_bar = std::max(last_bar, fact.place.bar);
    }
    for (const Input& input : take.inputs()) notes += input.kind == InputKind::midi && as_message(input).is_note_on() ? 1 : 0;
    std::string text = printed("notes     %zu in %zu strokes, %zu warnings\n", notes, strokes, warnings);
    if (last_bar > 0) text += printed("bars      %d to %d\n", first_bar, last_bar);
    text += "played    " + std::string{text_of(one.player.instrument.name)} + " for " + std::string{text_of(one.player.target.name)};
    if (journal.head) text += ", bowarm " + journal.head->version;
    return text + "\n";
}

std::string same_text(const Journal& journal, const Replayed& replay)
{
    const Recorder& take = replay.take;
    const bool same_build = journal.head && journal.head->build == build_id();
    const std::string text = same_build ? "" : "replay    another build of bowarm played it\n";
    if (replay.difference)
        return text + "replay    differs from what was sent on the day between " + place_text(take, replay.difference->after, {}) +
               " and " + place_text(take, replay.difference->before, replay.difference->place) + "\n";
    return text + printed("replay    the same as on the day: %llu messages compared\n", static_cast<unsigned long long>(replay.checked));
}

std::string losses_text(const Journal& journal, const Recorder& take)
{
    std::string text;
    for (const JournalGap& gap : journal.gaps)
        text += gap.inputs == 0 ? "gap       before " + place_text(take, gap.at, {}) + " the journal is missing: the take is incomplete\n"
                                : "gap       " + std::to_string(gap.inputs) + " events are missing at " + place_text(take, gap.at, {}) +
                                      ": the take is incomplete\n";
    if (!journal.damage.empty()) text += "damage    " + journal.damage + "; everything before it is there\n";
    return text;
}

} // namespace

std::string list_line(std::size_t number, const KeptTake& take)
{
    std::string line = number == 0 ? "" : printed("%4zu  ", number);
    line += take.stem + printed("  %8.1f kB", static_cast<double>(take.bytes) / 1000);
    if (take.kept) line += "  kept";
    if (!take.has_journal) line += "  no journal";
    if (!take.name.empty()) line += "  " + take.name;
    return line;
}

std::string take_text(const Journal& journal, std::span<const PlayersReplay> players)
{
    Time last = players.front().replay.take.origin();
    for (const PlayersReplay& one : players) last = std::max(last, one.replay.take.latest());
    std::string text = "length    " + clock_text(last - players.front().replay.take.origin()) + "\n";
    for (const PlayersReplay& one : players) {
        if (players.size() > 1) text += std::string{text_of(one.player.name)} + "\n";
        text += doings_text(journal, one) + same_text(journal, one.replay);
    }
    return text + losses_text(journal, players.front().replay.take);
}

std::string sameness_text(const Journal& journal, std::span<const PlayersReplay> players)
{
    std::string text;
    for (const PlayersReplay& one : players) {
        if (players.size() > 1) text += std::string{text_of(one.player.name)} + "\n";
        text += same_text(journal, one.replay);
    }
    return text + losses_text(journal, players.front().replay.take);
}

std::string seam_text(const Recorder& take, Time seam, std::int32_t bar)
{
    for (const Fact& fact : take.facts())
        if (fact.kind == FactKind::stroke_began && fact.at >= seam)
            return printed("joined at bar %d: the second take enters %s%s, at %.0f %% of the hair from the frog\n", bar,
                           fact.retake ? "with a retake, " : "", std::string{direction_word(fact.direction)}.c_str(),
                           fact.hair_from.value * 100);
    return "joined at bar " + std::to_string(bar) + "\n";
}

} // namespace bowarm
