#include "take/remarks.hpp"

#include "take/decimal.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
#include <deque>

namespace bowarm
{
namespace
{

constexpr std::array<std::string_view, severity_count> severities{"note", "careful", "cannot"};

// Common practice, no source.
constexpr Severity severity_of(Warning warning)
{
    switch (warning) {
    case Warning::none:
    case Warning::col_legno:
    case Warning::too_many_notes:
    case Warning::technique_missing:
        return Severity::note;
    case Warning::hair_runs_out:
    case Warning::loudness_out_of_reach:
    case Warning::off_string_too_slow:
    case Warning::off_string_too_loud:
    case Warning::tremolo_too_long:
    case Warning::ricochet_too_long:
        return Severity::careful;
    case Warning::retake_has_no_time:
    case Warning::out_of_range:
    case Warning::not_playable_together:
    case Warning::off_string_too_fast:
    case Warning::change_too_quick:
    case Warning::pizzicato_too_fast:
    case Warning::no_such_harmonic:
        return Severity::cannot;
    }
    return Severity::note;
}

Remark remark_of(const Fact& warning)
{
    return {warning.at,
            warning.place,
            severity_of(warning.warning),
            warning_word(warning.warning),
            warning_reason(warning),
            std::string{warning_remedy(warning.warning)},
            warning.note,
            warning.desk};
}

// Notes that a player would read under one slur, in order.
using Slur = std::vector<const NoteStory*>;

std::vector<Slur> slurs_of(const Story& story)
{
    std::vector<Slur> slurs;
    std::map<std::uint8_t, std::size_t> open; // by desk
    for (const auto& [number, note] : story.notes) {
        if (is_plucked(note.began.technique)) continue;
        const auto last = open.find(note.began.desk);
        if (note.began.slurred && last != open.end()) {
            slurs[last->second].push_back(&note);
            continue;
        }
        slurs.push_back({&note});
        open.insert_or_assign(note.began.desk, slurs.size() - 1);
    }
    std::erase_if(slurs, [](const Slur& slur) { return slur.size() < 2; });
    return slurs;
}

Time end_of(const NoteStory& note) { return note.ended.value_or(note.parts.empty() ? note.began.at : note.parts.back().at); }

// Where the bow changed for want of hair, and since when it had been drawn.
struct RanOut {
    Time at, since;
    std::uint8_t desk;
};

std::vector<RanOut> changes_for_want_of_hair(const Story& story)
{
    std::vector<RanOut> changes;
    std::map<std::uint8_t, Time> since; // by desk
    for (const auto& [number, stroke] : story.strokes) {
        if (!stroke.began) continue;
        const Fact& began = *stroke.began;
        const auto before = since.find(began.desk);
        if (began.forced && before != since.end()) changes.push_back({began.at, before->second, began.desk});
        since[began.desk] = began.at;
    }
    std::stable_sort(changes.begin(), changes.end(), [](const RanOut& a, const RanOut& b) { return a.at < b.at; });
    return changes;
}

Remark slur_remark(const Slur& slur, const RanOut& change)
{
    const Fact& first = slur.front()->began;
    const double lasts = to_seconds(end_of(*slur.back()) - first.at).value;
    const double bow = to_seconds(change.at - change.since).value;
    const auto after = std::find_if(slur.begin() + 1, slur.end(), [&](const NoteStory* note) { return note->began.at >= change.at; });
    const NoteStory* last_in_time = *(after - 1) == slur.front() ? slur[1] : *(after - 1);
    const std::string where = place_words(last_in_time->began.place);
    return {first.at,
            first.place,
            Severity::careful,
            "slur-too-long",
            "the slur of " + std::to_string(slur.size()) + " notes lasts " + decimal_text(lasts, 1) +
                " s, and at this loudness a bow lasts " + decimal_text(bow, 1) + " s",
            "divide the slur" + (where.empty() ? "" : ", for instance at " + where) + ", or play softer",
            first.note,
            first.desk};
}

void add_long_slurs(const Story& story, std::vector<Remark>& remarks)
{
    const auto changes = changes_for_want_of_hair(story);
    for (const Slur& slur : slurs_of(story)) {
        const Time begin = slur.front()->began.at;
        const Time end = end_of(*slur.back());
        const std::uint8_t desk = slur.front()->began.desk;
        auto change = std::upper_bound(changes.begin(), changes.end(), begin, [](Time t, const RanOut& c) { return t < c.at; });
        while (change != changes.end() && change->at < end && change->desk != desk) ++change;
        if (change != changes.end() && change->at < end) remarks.push_back(slur_remark(slur, *change));
    }
}

// For what the right hand holds the bow, or no bow, in a way of its own.
enum class Hold : std::uint8_t { drawn, stopped, bounced, wood, shaken, plucked };

Hold hold_of(Technique technique)
{
    switch (technique) {
    case Technique::martele:
    case Technique::staccato:
        return Hold::stopped;
    case Technique::spiccato:
    case Technique::sautille:
    case Technique::ricochet:
        return Hold::bounced;
    case Technique::col_legno_battuto:
    case Technique::col_legno_tratto:
        return Hold::wood;
    case Technique::tremolo:
        return Hold::shaken;
    case Technique::pizzicato:
    case Technique::snap_pizzicato:
        return Hold::plucked;
    default:
        return Hold::drawn;
    }
}

// So many changes in so many seconds are more than a desk plays cleanly.  Common practice, no source.
constexpr std::size_t changes_at_most = 4;
constexpr Duration changes_within = milliseconds(4'000);

void add_frequent_changes(const Story& story, std::vector<Remark>& remarks)
{
    struct Hand {
        std::optional<Hold> hold;
        std::deque<Time> changes;
    };
    std::map<std::uint8_t, Hand> hands;
    for (const auto& [number, note] : story.notes) {
        if (note.began.technique == Technique::left_hand_pizzicato) continue;
        Hand& hand = hands[note.began.desk];
        const Hold hold = hold_of(note.began.technique);
        const bool changed = hand.hold && *hand.hold != hold;
        hand.hold = hold;
        if (!changed) continue;
        hand.changes.push_back(note.began.at);
        while (note.began.at - hand.changes.front() > changes_within) hand.changes.pop_front();
        if (hand.changes.size() <= changes_at_most) continue;
        const double within = to_seconds(hand.changes.back() - hand.changes.front()).value;
        remarks.push_back(
            {note.began.at, note.began.place, Severity::careful, "strokes-change-too-often",
             "the kind of stroke changes " + std::to_string(hand.changes.size()) + " times within " + decimal_text(within, 1) + " s",
             "keep one kind of stroke for longer, or divide them among players", note.began.note, note.began.desk});
        hand.changes.clear();
    }
}

} // namespace

std::string_view severity_word(Severity severity) noexcept { return severities[static_cast<std::size_t>(severity)]; }

std::optional<Severity> severity_of_word(std::string_view word) noexcept
{
    const auto found = std::find(severities.begin(), severities.end(), word);
    if (found == severities.end()) return std::nullopt;
    return static_cast<Severity>(found - severities.begin());
}

std::vector<Remark> remarks_of(const Story& story)
{
    std::vector<Remark> remarks;
    for (const Fact& warning : story.warnings) remarks.push_back(remark_of(warning));
    add_long_slurs(story, remarks);
    add_frequent_changes(story, remarks);
    std::stable_sort(remarks.begin(), remarks.end(), [](const Remark& a, const Remark& b) { return a.at < b.at; });
    return remarks;
}

std::string place_words(const BarPlace& place)
{
    if (place.bar <= 0) return "";
    return "bar " + std::to_string(place.bar) + " beat " + decimal_text(place.beat, 2);
}

} // namespace bowarm
