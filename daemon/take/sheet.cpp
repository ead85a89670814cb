#include "take/sheet.hpp"

#include "take/decimal.hpp"
#include "take/remarks.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <span>

namespace bowarm
{
namespace
{

constexpr std::size_t sections_at_most = 16, least_true_at_most = 8, cues_at_most = 20;
constexpr Seconds breath{1.5};       // a rest this long ends a section, and the entry after it is a cue
constexpr std::int32_t few_bars = 4; // a section is not shorter, unless a rest ends it

struct Played {
    Time at, end;
    const Fact* fact;
    double loudness; // wanted, when its stroke began
};

std::vector<Played> notes_of(const Recorder& take, const Story& story, Duration later)
{
    std::map<std::uint32_t, double> loudness;
    for (const Decision& d : take.decisions()) loudness[d.note] = d.needs.loudness.value;
    std::vector<Played> notes;
    double now = 0.5;
    for (const auto& [number, note] : story.notes) {
        const auto known = loudness.find(number);
        if (known != loudness.end()) now = known->second;
        const Time at = note.began.at - later;
        notes.push_back({at, std::max(at, note.ended.value_or(take.latest()) - later), &note.began, now});
    }
    std::stable_sort(notes.begin(), notes.end(), [](const Played& a, const Played& b) { return a.at < b.at; });
    return notes;
}

std::string clock_text(Time at, Time origin)
{
    const std::int64_t tenths = (at - origin).ns / 100'000'000;
    const std::string seconds = std::to_string(tenths / 10 % 60);
    return std::to_string(tenths / 600) + ":" + (seconds.size() < 2 ? "0" : "") + seconds + "." + std::to_string(tenths % 10);
}

std::string bars_text(const Fact& first, const Fact& last)
{
    if (first.place.bar <= 0 || last.place.bar <= 0) return "";
    if (first.place.bar == last.place.bar) return std::to_string(first.place.bar);
    return std::to_string(first.place.bar) + "-" + std::to_string(last.place.bar);
}

// pp to ff in equal steps of the loudness that was asked for.
std::string_view dynamic_word(double loudness)
{
    constexpr std::array<std::string_view, 6> words{"pp", "p", "mp", "mf", "f", "ff"};
    return words[static_cast<std::size_t>(std::clamp(loudness * 6, 0.0, 5.0))];
}

using Section = std::span<const Played>;

Time sounding_until(Section notes)
{
    Time end = notes.front().end;
    for (const Played& note : notes) end = std::max(end, note.end);
    return end;
}

// At rests, and at barlines where the technique changes or the section has grown long.
std::vector<Section> sections_of(std::span<const Played> notes, std::int32_t least_bars)
{
    std::vector<Section> sections;
    std::size_t begin = 0;
    Time sounding = notes.empty() ? Time{} : notes.front().end;
    for (std::size_t i = 1; i < notes.size(); ++i) {
        const std::int32_t bar = notes[i].fact->place.bar;
        const bool new_bar = bar > notes[i - 1].fact->place.bar;
        const std::int32_t bars = bar - notes[begin].fact->place.bar;
        const bool other = notes[i].fact->technique != notes[i - 1].fact->technique;
        const bool rest = notes[i].at - sounding > to_duration(breath) && (least_bars == few_bars || bars >= least_bars);
        const bool divided = new_bar && bars >= least_bars && (other || bars >= 4 * least_bars);
        sounding = std::max(sounding, notes[i].end);
        if (!rest && !divided) continue;
        sections.push_back(notes.subspan(begin, i - begin));
        begin = i;
    }
    if (begin < notes.size()) sections.push_back(notes.subspan(begin));
    return sections;
}

// Longer sections until all fit onto the page.
std::vector<Section> sections_for_a_page(std::span<const Played> notes)
{
    std::int32_t least = few_bars;
    std::vector<Section> sections = sections_of(notes, least);
    while (sections.size() > sections_at_most && least < 100'000) sections = sections_of(notes, least *= 2);
    return sections;
}

std::string techniques_text(Section notes)
{
    std::map<Technique, std::size_t> counts;
    for (const Played& note : notes) ++counts[note.fact->technique];
    std::vector<std::pair<Technique, std::size_t>> order(counts.begin(), counts.end());
    std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
    std::string text;
    for (std::size_t i = 0; i < order.size() && i < 3; ++i) text += (i > 0 ? ", " : "") + std::string{technique_word(order[i].first)};
    return text + (order.size() > 3 ? " and more" : "");
}

std::string dynamics_text(Section notes)
{
    double low = 1, high = 0;
    for (const Played& note : notes) {
        low = std::min(low, note.loudness);
        high = std::max(high, note.loudness);
    }
    const std::string soft{dynamic_word(low)}, loud{dynamic_word(high)};
    return soft == loud ? soft : soft + " to " + loud;
}

constexpr Duration together = milliseconds(50); // keys nearer than this are one chord

struct Texture {
    double rate{0};         // onsets a second
    std::size_t doubled{0}; // notes that begin with or under another one
    std::size_t off_string{0}, plucked{0};
    int highest_position{0};
};

Texture texture_of(Section notes)
{
    Texture t;
    std::size_t onsets = 1;
    Time sounding = notes.front().end;
    for (std::size_t i = 0; i < notes.size(); ++i) {
        const Fact& fact = *notes[i].fact;
        t.off_string += is_off_string(fact.technique);
        t.plucked += is_plucked(fact.technique);
        if (fact.position != no_place) t.highest_position = std::max<int>(t.highest_position, fact.position);
        if (i == 0) continue;
        const bool chord = notes[i].at - notes[i - 1].at < together;
        onsets += !chord;
        t.doubled += chord || (sounding - notes[i].at > milliseconds(150) && !fact.slurred);
        sounding = std::max(sounding, notes[i].end);
    }
    const double seconds = to_seconds(sounding_until(notes) - notes.front().at).value;
    t.rate = static_cast<double>(onsets) / std::max(seconds, 0.5);
    return t;
}

std::string difficulty_text(const Texture& t, std::size_t cannot, std::size_t careful)
{
    if (cannot > 0) return "not as written: " + std::to_string(cannot) + (cannot == 1 ? " place" : " places");
    int points = 0;
    points += t.rate > 4;
    points += t.rate > 8;
    points += t.highest_position > 3;
    points += t.highest_position > 7;
    points += t.doubled > 2;
    points += careful > 0;
    points += careful > 3;
    const std::string word = points <= 1 ? "easy" : points <= 3 ? "moderate" : "hard";
    return word + ", " + decimal_text(t.rate, 1) + " notes/s" + (careful > 0 ? ", care at " + std::to_string(careful) : "");
}

std::string second_pass_text(const Texture& t, std::size_t notes, std::size_t cannot)
{
    if (cannot > 0) return "yes: divide it, what one bow cannot reach in another pass";
    if (4 * t.doubled > notes) return "yes: one line in each pass, the second from another chair";
    if (2 * t.plucked > notes) return "yes, from another chair: plucks that are not quite together sound like many";
    if (2 * t.off_string > notes || t.rate > 6) return "no: quick notes blur; one close pass";
    return t.rate < 3 ? "yes, from another chair: it thickens long notes" : "if the first pass sounds thin";
}

std::size_t count_in(std::span<const Remark> remarks, Severity severity, Time from, Time until)
{
    return static_cast<std::size_t>(std::count_if(remarks.begin(), remarks.end(),
                                                  [&](const Remark& r) { return r.severity == severity && from <= r.at && r.at < until; }));
}

// Runs of notes that a sampler makes least true, with how bad that is.
struct Weak {
    std::size_t first, last;
    double badness;
    std::string_view what;
};

enum class Kind : std::uint8_t { none, quick_off_string, inner_line, plucked_chord };

constexpr std::string_view words_of(Kind kind)
{
    switch (kind) {
    case Kind::quick_off_string:
        return "fast off-string line";
    case Kind::inner_line:
        return "a line that moves under a held note";
    case Kind::plucked_chord:
        return "pizzicato chord";
    case Kind::none:
        break;
    }
    return "";
}

constexpr double fast_a_second = 5; // about sixteenths at 75 a minute

Kind kind_of(std::span<const Played> notes, std::size_t i)
{
    const Fact& fact = *notes[i].fact;
    const Duration since = i > 0 ? notes[i].at - notes[i - 1].at : milliseconds(60'000);
    const bool beside = since < together || (i + 1 < notes.size() && notes[i + 1].at - notes[i].at < together);
    if (is_plucked(fact.technique) && beside) return Kind::plucked_chord;
    if (is_off_string(fact.technique) && to_seconds(since).value < 1 / fast_a_second) return Kind::quick_off_string;
    if (is_plucked(fact.technique) || since < together) return Kind::none;
    for (std::size_t j = i > 4 ? i - 4 : 0; j < i; ++j)
        if (notes[j].end >= notes[i].end && notes[i].at - notes[j].at >= together && fact.desk == notes[j].fact->desk)
            return Kind::inner_line;
    return Kind::none;
}

std::vector<Weak> weak_runs(std::span<const Played> notes)
{
    std::vector<Weak> runs;
    Kind last = Kind::none;
    for (std::size_t i = 0; i < notes.size(); ++i) {
        const Kind kind = kind_of(notes, i);
        const double worth = kind == Kind::quick_off_string ? 2 : 1.5;
        const bool goes_on = kind != Kind::none && kind == last && notes[i].at - notes[i - 1].at < milliseconds(1'500);
        if (goes_on) {
            runs.back().last = i;
            runs.back().badness += worth;
        } else if (kind != Kind::none) {
            runs.push_back({i, i, worth, words_of(kind)});
        }
        last = kind;
    }
    return runs;
}

void put_least_true(Sheet& sheet, std::span<const Played> notes, Time origin)
{
    auto runs = weak_runs(notes);
    std::erase_if(runs, [](const Weak& run) { return run.badness < 3; });
    std::stable_sort(runs.begin(), runs.end(), [](const Weak& a, const Weak& b) { return a.badness > b.badness; });
    if (runs.size() > least_true_at_most) runs.resize(least_true_at_most);
    for (const Weak& run : runs)
        sheet.least_true.push_back({bars_text(*notes[run.first].fact, *notes[run.last].fact), clock_text(notes[run.first].at, origin),
                                    std::string{run.what} + ", " + std::to_string(run.last - run.first + 1) + " notes"});
}

// An entry after a rest; of many those after the longest rests.
void put_cues(Sheet& sheet, std::span<const Played> notes, Time origin)
{
    struct Cue {
        std::size_t note;
        Duration rest;
    };
    std::vector<Cue> cues;
    Time sounding = origin;
    for (std::size_t i = 0; i < notes.size(); ++i) {
        const Duration rest = notes[i].at - sounding;
        if (i == 0 || rest > to_duration(breath)) cues.push_back({i, i == 0 ? Duration{std::numeric_limits<std::int64_t>::max()} : rest});
        sounding = std::max(sounding, notes[i].end);
    }
    std::stable_sort(cues.begin(), cues.end(), [](const Cue& a, const Cue& b) { return a.rest > b.rest; });
    if (cues.size() > cues_at_most) cues.resize(cues_at_most);
    std::sort(cues.begin(), cues.end(), [](const Cue& a, const Cue& b) { return a.note < b.note; });
    for (const Cue& cue : cues) {
        const Fact& fact = *notes[cue.note].fact;
        const std::string rest = cue.note == 0 ? "" : ", after " + decimal_text(to_seconds(cue.rest).value, 1) + " s of rest";
        sheet.cues.push_back({place_words(fact.place), clock_text(notes[cue.note].at, origin),
                              "in on " + key_word(fact.pitch) + ", " + std::string{technique_word(fact.technique)} + ", " +
                                  std::string{dynamic_word(notes[cue.note].loudness)} + rest});
    }
}

} // namespace

Sheet sheet_of(const Recorder& take, const ReportHead& head, std::string_view title)
{
    const Story story = story_of(take.facts());
    const auto remarks = remarks_of(story);
    const auto notes = notes_of(take, story, head.later);
    Sheet sheet{std::string{title},
                std::string{head.instrument} + ", " + std::to_string(notes.size()) + " notes, " + clock_text(take.latest(), take.origin()),
                {},
                {},
                {}};
    for (const Section& section : sections_for_a_page(notes)) {
        const Time from = section.front().at, until = sounding_until(section);
        const Time next =
            section.data() + section.size() == notes.data() + notes.size() ? Time::never() : (section.data() + section.size())->at;
        const std::size_t cannot = count_in(remarks, Severity::cannot, from + head.later, next == Time::never() ? next : next + head.later);
        const std::size_t careful =
            count_in(remarks, Severity::careful, from + head.later, next == Time::never() ? next : next + head.later);
        const Texture texture = texture_of(section);
        sheet.sections.push_back({bars_text(*section.front().fact, *section.back().fact),
                                  clock_text(from, take.origin()) + "-" + clock_text(until, take.origin()), techniques_text(section),
                                  dynamics_text(section), difficulty_text(texture, cannot, careful),
                                  second_pass_text(texture, section.size(), cannot)});
    }
    put_least_true(sheet, notes, take.origin());
    put_cues(sheet, notes, take.origin());
    return sheet;
}

} // namespace bowarm
