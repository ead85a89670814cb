// What a bowed part says beside its notes: changes of the bow under a held note, key signatures; and which line of a score is read back.
// What stands in engraving handbooks: common practice, no source.
#include "take/part/bow_marks.hpp"
#include "take/part/key_sections.hpp"
#include "take/part/pencil.hpp"
#include "take/part/turns.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace bowarm;
using namespace bowarm::part;

namespace
{

constexpr Ticks quarter = ticks_a_quarter;

PlayedNote played(std::uint8_t pitch, std::uint32_t stroke, Direction direction, bool slurred, std::vector<Turn> turns = {})
{
    PlayedNote note;
    note.told.pitch = pitch;
    note.told.stroke = stroke;
    note.told.slurred = slurred;
    note.direction = direction;
    note.turns = std::move(turns);
    return note;
}

Turn turn_at(double quarters, std::uint32_t stroke, Direction direction) { return {Time{}, quarters, stroke, direction}; }

Segment segment(double from, double to, std::size_t played)
{
    Segment s;
    s.begin = static_cast<Ticks>(from * static_cast<double>(quarter));
    s.end = static_cast<Ticks>(to * static_cast<double>(quarter));
    s.heads.push_back({played, false, false});
    return s;
}

std::vector<Bar> bars_in_four(std::size_t count)
{
    std::vector<Bar> bars;
    for (std::size_t i = 0; i < count; ++i) bars.push_back({static_cast<Ticks>(i) * 4 * quarter, 4 * quarter, {4, 2}, i == 0});
    return bars;
}

// Each written note as its beginning in quarters; d, u: a mark; ( ): a slur; ~: tied on.
std::string written(const std::vector<Segment>& segments, const std::vector<PlayedNote>& notes)
{
    const std::vector<Marks> marks = marks_of(segments, notes);
    std::string text;
    for (std::size_t i = 0; i < segments.size(); ++i) {
        text += text.empty() ? "" : " ";
        if (marks[i].slur_begins) text += "(";
        text += std::to_string(segments[i].begin * 2 / quarter);
        if (marks[i].bow) text += *marks[i].bow == Direction::down ? "d" : "u";
        if (marks[i].slur_ends) text += ")";
        if (segments[i].heads.front().tied_on) text += "~";
    }
    return text;
}

std::vector<PitchClasses> bars_of_scale(int tonic, std::size_t count)
{
    std::vector<PitchClasses> bars(count);
    for (PitchClasses& bar : bars)
        for (const int step : {0, 2, 4, 5, 7, 9, 11}) bar[static_cast<std::size_t>((tonic + step) % 12)] = step == 0 ? 1 : 0.5;
    return bars;
}

std::string bar_of(const std::string& notes)
{
    return "<measure number='1'><attributes><divisions>1</divisions></attributes>" + notes + "</measure>";
}

std::string note(char step, const std::string& more, const std::string& bow = "")
{
    return "<note><pitch><step>" + std::string(1, step) + "</step><octave>4</octave></pitch><duration>1</duration>" + more +
           (bow.empty() ? "" : "<notations><technical><" + bow + "-bow/></technical></notations>") + "</note>";
}

const std::string score = "<score-partwise><part-list><score-part id='A'><part-name>Violin I</part-name></score-part>"
                          "<score-part id='B'><part-name>Violin II</part-name><part-abbreviation>Vl. II</part-abbreviation></score-part>"
                          "<score-part id='C'><part-name>Viola</part-name></score-part><score-part id='D'><part-name>Viola</part-name>"
                          "</score-part></part-list><part id='A'>" +
                          bar_of(note('C', "<voice>1</voice>", "down")) + "</part><part id='B'>" +
                          bar_of(note('D', "<voice>1</voice><staff>1</staff>", "up") + "<backup><duration>1</duration></backup>" +
                                 note('E', "<voice>2</voice><staff>1</staff>", "down") + "<backup><duration>1</duration></backup>" +
                                 note('F', "<voice>5</voice><staff>2</staff>", "up")) +
                          "</part><part id='C'>" + bar_of(note('G', "<voice>1</voice>", "up")) + "</part><part id='D'>" +
                          bar_of(note('A', "<voice>1</voice>", "up")) + "</part></score-partwise>";

// The keys of what is read, or the refusal.
std::string read(const PencilPlace& place)
{
    const auto got = read_pencil(score, place);
    if (const auto* problem = std::get_if<WishProblem>(&got)) return problem->what + "; " + problem->remedy;
    std::string keys;
    for (const PencilNote& n : std::get<std::vector<PencilNote>>(got))
        keys += std::to_string(n.key) + (n.bow == Direction::down ? "d" : "u");
    return keys;
}

} // namespace

TEST_CASE("a bow that changes under a held note is written on the nearest beat, tied, with its mark")
{
    const std::vector<PlayedNote> notes{played(60, 1, Direction::down, false, {turn_at(2.9, 2, Direction::up)}),
                                        played(62, 3, Direction::down, false)};
    const auto parted = parted_at_turns({segment(0, 6, 0), segment(6, 8, 1)}, notes, bars_in_four(2), {});
    CHECK(written(parted, notes) == "0d~ 6u 12");
}

TEST_CASE("a slur over a change of the bow ends there and begins anew")
{
    const std::vector<PlayedNote> notes{played(60, 1, Direction::down, false),
                                        played(62, 1, Direction::down, true, {turn_at(3.9, 2, Direction::up)}),
                                        played(64, 2, Direction::up, true)};
    const auto parted = parted_at_turns({segment(0, 2, 0), segment(2, 6, 1), segment(6, 8, 2)}, notes, bars_in_four(2), {});
    CHECK(written(parted, notes) == "(0d 4)~ (8u 12)");
}

TEST_CASE("a change near the beginning of a slurred note is the slur's end, near its end the next note's bow")
{
    const std::vector<PlayedNote> early{played(60, 1, Direction::down, false),
                                        played(62, 1, Direction::down, true, {turn_at(2.2, 2, Direction::up)}),
                                        played(64, 2, Direction::up, true)};
    CHECK(written(parted_at_turns({segment(0, 2, 0), segment(2, 4, 1), segment(4, 8, 2)}, early, bars_in_four(2), {}), early) ==
          "0d (4u 8)");
    const std::vector<PlayedNote> late{played(60, 1, Direction::down, false, {turn_at(3.8, 2, Direction::up)}),
                                       played(64, 2, Direction::up, true)};
    CHECK(written(parted_at_turns({segment(0, 4, 0), segment(4, 8, 1)}, late, bars_in_four(2), {}), late) == "0d 8");
}

TEST_CASE("a note with three bows has two ties, and under a tuplet the change is on one of its notes")
{
    const std::vector<PlayedNote> notes{
        played(60, 1, Direction::down, false, {turn_at(4.1, 2, Direction::up), turn_at(8.1, 3, Direction::down)})};
    CHECK(written(parted_at_turns({segment(0, 12, 0)}, notes, bars_in_four(3), {}), notes) == "0d~ 8u~ 16d");
    const std::vector<PlayedNote> in_three{played(60, 1, Direction::down, false, {turn_at(1.2, 2, Direction::up)})};
    const std::vector<Division> tuplets{{0, 4 * quarter, 3}};
    const auto parted = parted_at_turns({segment(0, 4, 0)}, in_three, bars_in_four(1), tuplets);
    REQUIRE(parted.size() == 2);
    CHECK(parted[1].begin == 4 * quarter / 3);
}

TEST_CASE("a key signature changes where a page of accidentals is spared, not in the dominant and not for a few bars")
{
    std::vector<PitchClasses> bars = bars_of_scale(0, 24);
    const std::vector<PitchClasses> e_flat = bars_of_scale(3, 24), g = bars_of_scale(7, 24);
    std::vector<PitchClasses> there = bars, to_dominant = bars, shortly = bars;
    there.insert(there.end(), e_flat.begin(), e_flat.end());
    to_dominant.insert(to_dominant.end(), g.begin(), g.end());
    shortly.insert(shortly.end(), e_flat.begin(), e_flat.begin() + 8);
    shortly.insert(shortly.end(), bars.begin(), bars.end());
    const std::vector<KeyFrom> keys = key_sections(there, {0, false});
    REQUIRE(keys.size() == 2);
    CHECK(keys[0].key == KeyChange{0, false});
    CHECK(keys[1].key == KeyChange{-3, false});
    CHECK(keys[1].bar == 24);
    CHECK(key_sections(to_dominant, {0, false}).size() == 1);
    CHECK(key_sections(shortly, {0, false}).size() == 1);
}

TEST_CASE("a part, a staff and a voice are read by number or name, and what is not there is said")
{
    CHECK(read({}) == "60d");
    CHECK(read({"2", 1, ""}) == "62u");
    CHECK(read({"Violin II", 1, ""}) == "62u");
    CHECK(read({"Vl. II", 1, "2"}) == "64d");
    CHECK(read({"Violin II", 2, ""}) == "65u");
    CHECK(read({"4", 1, ""}) == "69u");
    CHECK(read({"Cello", 1, ""}) == "has no part Cello; it has 1 Violin I, 2 Violin II, 3 Viola, 4 Viola");
    CHECK(read({"9", 1, ""}) == "has no part 9; it has 1 Violin I, 2 Violin II, 3 Viola, 4 Viola");
    CHECK(read({"Viola", 1, ""}) == "has two parts named Viola; give the part by its number: 1 Violin I, 2 Violin II, 3 Viola, 4 Viola");
    CHECK(read({"2", 3, ""}) == "has no staff 3 in this part; it has 2");
    CHECK(read({"2", 1, "7"}) == "has no voice 7 on this staff; it has 1, 2");
}
