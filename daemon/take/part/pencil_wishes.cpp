#include "player/delays.hpp"
#include "take/part/beat_map.hpp"
#include "take/part/pencil.hpp"
#include "take/part/played_notes.hpp"
#include "take/part/rhythm.hpp"

#include <algorithm>
#include <unordered_set>

namespace bowarm::part
{
namespace
{

constexpr double near_enough = 0.25;  // quarters, for any note
constexpr double same_key_near = 0.5; // quarters, for a note of the same key

// An attack of the take where it would be written.
struct Attack {
    double quarter; // from the beginning of the part
    const PlayedNote* note;
    bool grace;
};

std::vector<Attack> attacks_of(const std::vector<Segment>& segments, const std::vector<PlayedNote>& notes)
{
    std::vector<Attack> attacks;
    for (const Segment& segment : segments) {
        if (!segment.new_attack()) continue;
        const double quarter = static_cast<double>(segment.begin) / static_cast<double>(ticks_a_quarter);
        for (const Head& head : segment.heads)
            if (!head.tied_from) attacks.push_back({quarter, &notes[head.played], segment.grace});
    }
    return attacks;
}

double distance(const Attack& attack, double quarter)
{
    return attack.quarter < quarter ? quarter - attack.quarter : attack.quarter - quarter;
}

// The bow that it begins on, or one that it changes to.
bool goes(const PlayedNote& note, Direction direction)
{
    return note.direction == direction ||
           std::any_of(note.turns.begin(), note.turns.end(), [&](const Turn& turn) { return turn.direction == direction; });
}

class Matching
{
public:
    Matching(const std::vector<Bar>& bars, std::vector<Attack> attacks) : bars_(bars), attacks_(std::move(attacks)) {}

    const PlayedNote* find(const PencilNote& pencil) const
    {
        if (pencil.bar < 1 || static_cast<std::size_t>(pencil.bar) > bars_.size()) return nullptr;
        const double quarter =
            static_cast<double>(bars_[static_cast<std::size_t>(pencil.bar - 1)].begin) / static_cast<double>(ticks_a_quarter) +
            pencil.quarter;
        auto at = std::lower_bound(attacks_.begin(), attacks_.end(), quarter - same_key_near,
                                   [](const Attack& a, double q) { return a.quarter < q; });
        const Attack* best = nullptr;
        double least = 0;
        for (; at != attacks_.end() && at->quarter <= quarter + same_key_near; ++at) {
            const bool same_key = at->note->told.pitch == pencil.key;
            const double off = distance(*at, quarter) + (same_key ? 0 : near_enough) + (at->grace == pencil.grace ? 0 : near_enough);
            if (!same_key && distance(*at, quarter) > near_enough) continue;
            if (best != nullptr && off >= least) continue;
            best = &*at;
            least = off;
        }
        return best == nullptr ? nullptr : best->note;
    }

private:
    const std::vector<Bar>& bars_;
    std::vector<Attack> attacks_;
};

} // namespace

std::vector<Wish> wishes_of(const std::vector<PencilNote>& pencil, const Recorder& live, const PlayerConfig& player)
{
    const Duration later = delays_of(player).hold;
    const BeatMap beats(live, player, later);
    const std::vector<PlayedNote> notes = notes_of(live, beats, 0, later);
    const double last = notes.empty() ? 0 : notes.back().onset;
    const std::vector<Bar> bars = beats.bars_until(static_cast<Ticks>(last * static_cast<double>(ticks_a_quarter)) + 1);
    const Rhythm rhythm = rhythm_of(notes, bars);
    const Matching matching(bars, attacks_of(rhythm.segments, notes));
    std::vector<Wish> wishes;
    std::unordered_set<std::uint32_t> wished; // strokes
    for (const PencilNote& written : pencil) {
        if (!written.on_bow_of_before && !written.bow) continue;
        Wish wish;
        wish.line = written.line;
        wish.bar = written.bar;
        wish.beat = written.beat;
        if (written.on_bow_of_before)
            wish.same_bow = true;
        else
            wish.direction = written.bow;
        wish.retake = written.retake;
        const PlayedNote* const note = matching.find(written);
        if (note != nullptr) {
            const bool slurred = note->told.slurred || !note->bowed();
            if (slurred && (wish.same_bow || goes(*note, *wish.direction))) continue;
            // Attacks that the keys made one stroke take the first mark.
            if (!slurred && !wished.insert(note->told.stroke).second) continue;
            wish.note = note->told.note;
        }
        wishes.push_back(wish);
    }
    return wishes;
}

} // namespace bowarm::part
