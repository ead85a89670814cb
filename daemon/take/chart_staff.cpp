#include "take/chart_staff.hpp"

#include "take/decimal.hpp"
#include "take/words.hpp"

#include <array>
#include <cmath>

namespace bowarm
{
namespace
{

struct Clef {
    std::string_view letter;
    int bottom_line; // in steps of the scale from C0
    int letter_line; // from the bottom, 0..4
    int octaves{0};  // written higher than it sounds
};
constexpr int steps_in_octave = 7;
constexpr Clef treble{"G", 4 * steps_in_octave + 2, 1};
constexpr Clef alto{"C", 3 * steps_in_octave + 3, 2};
constexpr Clef bass{"F", 2 * steps_in_octave + 4, 3};
constexpr Clef bass_up{"F", 2 * steps_in_octave + 4, 3, 1};

// By the lowest string: the viola's is C3, the cello's C2, the double bass's lower.
constexpr Clef clef_for(std::uint8_t lowest_string)
{
    if (lowest_string >= 52) return treble;
    if (lowest_string >= 45) return alto;
    return lowest_string >= 34 ? bass : bass_up;
}

struct Written {
    int step; // from C0
    bool sharp;
};
Written written(std::uint8_t pitch, const Clef& clef)
{
    constexpr std::array<int, 12> steps{0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6};
    constexpr std::array<bool, 12> sharps{false, true, false, true, false, false, true, false, true, false, true, false};
    const int octave = pitch / 12 - 1 + clef.octaves;
    return {octave * steps_in_octave + steps[pitch % 12U], sharps[pitch % 12U]};
}

constexpr int top_line = 8; // steps above the bottom line

double height(const Frame& frame, int steps_above) { return frame.staff_bottom_line - steps_above * staff_space / 2; }

std::string note_title(const ChartNote& note)
{
    const Fact& began = note.story->began;
    std::string text = key_word(began.pitch) + ", " + std::string{technique_word(began.technique)};
    const std::string where = place_words(began.place);
    if (!where.empty()) text += ", " + where;
    return text + ", " + decimal_text(to_seconds(note.end - note.at).value, 2) + " s";
}

void draw_ledgers(Svg& svg, const Frame& frame, double x, int step)
{
    for (int line = top_line + 2; line <= step; line += 2) svg.line("ledger", {x - 5, height(frame, line)}, {x + 5, height(frame, line)});
    for (int line = -2; line >= step; line -= 2) svg.line("ledger", {x - 5, height(frame, line)}, {x + 5, height(frame, line)});
}

void draw_lines(Svg& svg, const Frame& frame, const Clef& clef)
{
    for (int line = 0; line <= top_line; line += 2)
        svg.line("staff", {page_left, height(frame, line)}, {frame.right(), height(frame, line)});
    svg.text("clef", {page_left - 14, height(frame, 2 * clef.letter_line) + 4}, clef.letter);
    if (clef.octaves > 0) svg.text("clef small-clef", {page_left - 14, height(frame, 2 * clef.letter_line) + 14}, "8");
    svg.line("staff", {page_left - 12, height(frame, 2 * clef.letter_line)}, {page_left, height(frame, 2 * clef.letter_line)});
}

// A bow over the notes from the first to the last of a slur.
class Slurs
{
public:
    Slurs(Svg& svg, const Frame& frame) : svg_(svg), frame_(frame) {}

    void add(const ChartNote& note, Point head)
    {
        if (!note.story->began.slurred) finish();
        if (!any_) first_ = head;
        last_ = head;
        highest_ = any_ ? std::min(highest_, head.y) : head.y;
        any_ = true;
    }
    void finish()
    {
        if (any_ && last_.x > first_.x + 2) {
            const double top = std::max(frame_.staff_top, highest_ - 12);
            svg_.curve("slur", {first_.x, std::max(frame_.staff_top, first_.y - 5)}, {(first_.x + last_.x) / 2, top},
                       {last_.x, std::max(frame_.staff_top, last_.y - 5)});
        }
        any_ = false;
    }

private:
    Svg& svg_;
    const Frame& frame_;
    Point first_, last_;
    double highest_{0};
    bool any_{false};
};

} // namespace

StaffRoom staff_room(const ChartScene& scene, std::span<const ChartNote> notes)
{
    const Clef clef = clef_for(scene.lowest_string);
    int highest = top_line, lowest = 0;
    for (const ChartNote& note : notes) {
        const int step = written(note.story->began.pitch, clef).step - clef.bottom_line;
        highest = std::max(highest, step);
        lowest = std::min(lowest, step);
    }
    return {(highest - top_line) * staff_space / 2 + 14, -lowest * staff_space / 2 + 5};
}

void draw_staff(Svg& svg, const ChartScene& scene, const Frame& frame, std::span<const ChartNote> notes)
{
    const Clef clef = clef_for(scene.lowest_string);
    draw_lines(svg, frame, clef);
    Slurs slurs(svg, frame);
    for (const ChartNote& note : notes) {
        const Written w = written(note.story->began.pitch, clef);
        const int step = w.step - clef.bottom_line;
        const bool begins_here = note.at >= frame.stretch.begin;
        const Point head{std::clamp(frame.x(note.at), page_left + 4, page_right - 4), height(frame, step)};
        svg.open_group("", note_title(note));
        const double end = frame.x(std::min(note.end, frame.stretch.end));
        if (end > head.x) svg.line("held", begins_here ? head : Point{page_left, head.y}, {end, head.y});
        if (begins_here) {
            draw_ledgers(svg, frame, head.x, step);
            svg.ellipse("head", head, 3.2, 2.4);
            if (w.sharp) svg.text("sharp", {head.x - 4, head.y + 3}, "\u266f");
        }
        svg.close_group();
        if (begins_here) slurs.add(note, head);
    }
    slurs.finish();
}

namespace
{

struct Manner {
    Technique technique;
    ContactZone zone;
    bool muted;
};

std::string technique_text(Technique technique)
{
    switch (technique) {
    case Technique::detache:
        return "d\u00e9tach\u00e9";
    case Technique::martele:
        return "martel\u00e9";
    case Technique::sautille:
        return "sautill\u00e9";
    case Technique::pizzicato:
        return "pizz.";
    default:
        break;
    }
    std::string text{technique_word(technique)};
    std::replace(text.begin(), text.end(), '-', ' ');
    return text;
}

std::string zone_text(ContactZone zone)
{
    if (zone == ContactZone::ordinary) return "ord.";
    return zone == ContactZone::sul_tasto ? "sul tasto" : "sul pont.";
}

// What a part would say at this note; at the beginning of a system all that is not ordinary.
std::string words_for(const Manner& now, const Manner* before)
{
    std::string words;
    const auto add = [&](const std::string& word) { words += (words.empty() ? "" : ", ") + word; };
    if (before == nullptr || before->technique != now.technique) add(technique_text(now.technique));
    const bool other_zone = before == nullptr ? now.zone != ContactZone::ordinary : before->zone != now.zone;
    if (other_zone) add(zone_text(now.zone));
    const bool other_mute = before == nullptr ? now.muted : before->muted != now.muted;
    if (other_mute) add(now.muted ? "con sord." : "senza sord.");
    return words;
}

constexpr double letter = 5.4; // about the width of one, at the size of "word"
constexpr double line_height = 10;

} // namespace

void draw_words(Svg& svg, const Frame& frame, std::span<const ChartNote> notes, double first_baseline)
{
    std::optional<Manner> before;
    std::array<double, 2> free_from{page_left, page_left};
    for (const ChartNote& note : notes) {
        if (note.at < frame.stretch.begin) continue;
        const Fact& began = note.story->began;
        const Manner now{began.technique, began.zone, began.muted};
        const std::string words = words_for(now, before ? &*before : nullptr);
        before = now;
        if (words.empty()) continue;
        const double length = static_cast<double>(words.size()) * letter;
        const double x = std::min(frame.x(note.at), page_right - length);
        const auto row = std::find_if(free_from.begin(), free_from.end(), [x](double free) { return free <= x; });
        if (row == free_from.end()) continue; // no room: the note's title says it
        svg.text("word", {x, first_baseline - line_height * static_cast<double>(row - free_from.begin())}, words);
        *row = x + length + 4;
    }
}

} // namespace bowarm
