// Slur or double stop.  What a string player expects is common practice, no source, unless one is named.
#include "player/fixture.hpp"

#include <doctest/doctest.h>
#include <map>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Scene {
    explicit Scene(const PlayerConfig& c = violin_config()) : config(c) {}
    PlayerConfig config;
    Memory memory;
    Player player{config};
    Hands hands{player, memory};

    // Which of the instrument's keys sound at the target at that moment.
    std::vector<int> sounding(std::int64_t ms) const
    {
        std::map<int, int> on;
        for (const Sent& s : memory.sent) {
            if (at_ms(ms) < s.at) break;
            const int key = s.message.first().get();
            if (key < 50) continue;
            if (s.message.is_note_on()) ++on[key];
            if (s.message.is_note_off()) --on[key];
        }
        std::vector<int> keys;
        for (const auto& [key, count] : on)
            if (count > 0) keys.push_back(key);
        return keys;
    }
    int times_struck(int key) const
    {
        int n = 0;
        for (const Message& m : memory.note_ons()) n += m.first().get() == key;
        return n;
    }
    std::size_t strokes() const { return memory.of(FactKind::stroke_began).size(); }
    std::size_t mended() const { return memory.of(FactKind::repaired).size(); }
    int warned(Warning warning) const
    {
        int n = 0;
        for (const Fact& f : memory.of(FactKind::warning)) n += f.warning == warning;
        return n;
    }
};

constexpr int open_d = 62;

} // namespace

TEST_CASE("a pedal point: the open string sounds on under a slurred melody, in one bow")
{
    Scene s;
    s.hands.down(0, open_d, 60);
    const int melody[] = {69, 71, 73, 74}; // A B C sharp D, on the string above
    for (int i = 0; i < 4; ++i) {
        s.hands.down(500 + i * 500, melody[i], 60);
        if (i > 0) s.hands.up(500 + i * 500 + 40, melody[i - 1]);
    }
    s.hands.up(2'500, 74);
    s.hands.up(2'900, open_d);
    s.hands.until(4'000);
    // The first overlap cannot be told from a slur; it is mended as soon as it has outlasted one.
    CHECK((s.sounding(501) == std::vector{69}));
    CHECK((s.sounding(750) == std::vector{open_d, 69}));
    CHECK(s.mended() == 1);
    CHECK(s.times_struck(open_d) == 2);
    for (int i = 1; i < 4; ++i) CHECK((s.sounding(501 + i * 500) == std::vector{open_d, melody[i]}));
    CHECK((s.sounding(2'600) == std::vector{open_d}));
    CHECK(s.sounding(4'000).empty());
    CHECK(s.strokes() == 1);
}

TEST_CASE("what is brought back comes softly, and its note has two parts in one stroke")
{
    Scene s;
    s.hands.down(0, open_d, 100);
    s.hands.down(500, 71, 100);
    s.hands.until(1'500);
    std::vector<int> velocities;
    for (const Message& m : s.memory.note_ons())
        if (m.first().get() == open_d) velocities.push_back(m.second().get());
    REQUIRE(velocities.size() == 2);
    CHECK(velocities[1] <= velocities[0] / 2 + 1);
    s.hands.up(1'600, open_d);
    s.hands.up(1'600, 71);
    std::vector<Fact> parts;
    for (const Fact& f : s.memory.of(FactKind::part_ended))
        if (f.pitch == open_d) parts.push_back(f);
    REQUIRE(parts.size() == 2);
    CHECK(parts[0].stroke == parts[1].stroke);
    CHECK(s.strokes() == 1);
}

TEST_CASE("once two voices have been heard, the next held note is kept from the first note over it")
{
    Scene s;
    for (int bar = 0; bar < 3; ++bar) {
        const int at = bar * 3'000;
        s.hands.down(at, open_d, 60);
        s.hands.down(at + 500, 69, 60);
        s.hands.down(at + 1'000, 71, 60);
        s.hands.up(at + 1'040, 69);
        s.hands.up(at + 2'000, 71);
        s.hands.up(at + 2'010, open_d);
    }
    s.hands.until(10'000);
    CHECK(s.mended() == 1); // in the first bar
    for (int bar = 1; bar < 3; ++bar) {
        CHECK((s.sounding(bar * 3'000 + 501) == std::vector{open_d, 69}));
        CHECK((s.sounding(bar * 3'000 + 1'001) == std::vector{open_d, 71}));
    }
    CHECK(s.times_struck(open_d) == 4);
}

TEST_CASE("a melody struck note by note over a held note changes the bow for both strings, and the held note sounds on through it")
{
    Scene s;
    s.hands.down(0, open_d, 60);
    s.hands.down(8, 69, 60);
    s.hands.up(400, 69);
    for (int i = 1; i < 4; ++i) s.hands.note(i * 500, 69 + 2 * i, 400, 60);
    s.hands.up(2'000, open_d);
    s.hands.until(3'000);
    using enum Direction;
    std::vector<Direction> directions;
    for (const Fact& f : s.memory.of(FactKind::stroke_began)) directions.push_back(f.direction);
    CHECK((directions == std::vector{down, up, down, up}));
    CHECK(s.times_struck(open_d) == 1);
    for (int ms = 10; ms < 2'000; ms += 10) CHECK((s.sounding(ms).front() == open_d));
    // Reported: the held note has a part in each stroke.
    std::vector<std::uint32_t> strokes;
    for (const Fact& f : s.memory.of(FactKind::part_ended))
        if (f.pitch == open_d) strokes.push_back(f.stroke);
    CHECK((strokes == std::vector<std::uint32_t>{0, 1, 2, 3}));
}

TEST_CASE("where the target asks for a new note at a change of bow, the held note is struck again with the melody, in its bundle")
{
    PlayerConfig config = violin_config();
    config.target.held_change = HeldChange::new_note;
    Scene s(config);
    s.hands.down(0, open_d, 60);
    s.hands.down(8, 69, 60);
    s.hands.up(400, 69);
    const int before = s.memory.bundles;
    s.hands.note(500, 71, 400, 60);
    CHECK(s.memory.bundles == before + 2); // the onset, and the end of the upper note
    CHECK(s.times_struck(open_d) == 2);
    CHECK((s.sounding(500) == std::vector{open_d, 71}));
    s.hands.up(1'000, open_d);
    CHECK(s.sounding(1'000).empty());
}

TEST_CASE("a held upper note sounds on over a lower voice that moves")
{
    Scene s;
    s.hands.down(0, 76, 60); // the open E string
    s.hands.down(6, 69, 60);
    const int lower[] = {69, 71, 72, 74};
    for (int i = 1; i < 4; ++i) {
        s.hands.down(i * 400, lower[i], 60);
        s.hands.up(i * 400 + 30, lower[i - 1]);
        CHECK((s.sounding(i * 400 + 1) == std::vector{lower[i], 76}));
    }
    s.hands.up(1'600, 74);
    s.hands.up(1'600, 76);
    s.hands.until(3'000);
    CHECK(s.mended() == 0);
    CHECK(s.strokes() == 1);
    CHECK(s.times_struck(76) == 1);
}

TEST_CASE("bariolage: two strings in turn are a slur, not a double stop (after the Preludio of Bach's third partita, BWV 1006)")
{
    // E on the open string between notes on the string below, each key up soon after the next is down.
    Scene s;
    const int notes[] = {76, 75, 76, 73, 76, 75, 76, 71, 76, 73, 76, 69};
    int at = 0;
    for (int i = 0; i < 12; ++i) {
        s.hands.down(at, notes[i], 70);
        if (i > 0) {
            s.hands.until(at + 1);
            CHECK((s.sounding(at + 1) == std::vector{notes[i]}));
            s.hands.up(at + 25, notes[i - 1]);
        }
        at += 140;
    }
    s.hands.up(at, notes[11]);
    s.hands.until(4'000);
    CHECK(s.strokes() == 1);
    CHECK(s.mended() == 0);
}

TEST_CASE("parallel sixths, slurred by uneven fingers: two notes sound, never three for longer than the fingers differ")
{
    Scene s;
    const int lower[] = {64, 65, 67, 69, 71};
    const int upper[] = {72, 74, 76, 77, 79};
    for (int i = 0; i < 5; ++i) {
        const int at = i * 400;
        const bool upper_first = i % 2 == 0;
        s.hands.down(at, upper_first ? upper[i] : lower[i], 60);
        s.hands.down(at + 12, upper_first ? lower[i] : upper[i], 60);
        CHECK((s.sounding(at + 13) == std::vector{lower[i], upper[i]}));
        if (i == 0) continue;
        s.hands.up(at + 35, lower[i - 1]);
        s.hands.up(at + 45, upper[i - 1]);
    }
    s.hands.up(2'000, 71);
    s.hands.up(2'010, 79);
    s.hands.until(3'000);
    CHECK(s.sounding(3'000).empty());
    CHECK(s.strokes() == 1);
    CHECK(s.mended() == 0);
    CHECK(s.warned(Warning::not_playable_together) == 0);
    for (int i = 0; i < 5; ++i) CHECK(s.times_struck(lower[i]) + s.times_struck(upper[i]) == 2);
}

TEST_CASE("separate double stops take a stroke each")
{
    Scene s;
    for (int i = 0; i < 4; ++i) {
        s.hands.down(i * 500, 64 + i, 60);
        s.hands.down(i * 500 + 9, 72 + i, 60);
        s.hands.up(i * 500 + 380, 64 + i);
        s.hands.up(i * 500 + 400, 72 + i);
    }
    s.hands.until(4'000);
    CHECK(s.strokes() == 4);
}

TEST_CASE("a trill on a held key stays a trill on one bow, quick or slow")
{
    for (const int period : {120, 180, 400, 800}) {
        CAPTURE(period);
        Scene s;
        s.hands.down(0, 69, 60);
        for (int i = 0; i < 8; ++i) {
            const int at = 300 + i * period;
            s.hands.down(at, 71, 60);
            s.hands.until(at + period / 2 - 1);
            CHECK((s.sounding(at + period / 2 - 1) == std::vector{71}));
            s.hands.up(at + period / 2, 71);
            CHECK((s.sounding(at + period / 2) == std::vector{69}));
        }
        const int end = 300 + 8 * period;
        s.hands.up(end, 69);
        s.hands.until(end + 1'000);
        std::size_t forced = 0;
        for (const Fact& f : s.memory.of(FactKind::stroke_began)) forced += f.forced;
        CHECK(s.strokes() == 1 + forced);
        CHECK(s.mended() == 0);
    }
}

TEST_CASE("a trill over a pedal: the upper voice trills, the lower one sounds on")
{
    Scene s;
    s.hands.down(0, open_d, 60);
    s.hands.note(400, 71, 300, 60);
    s.hands.down(800, 69, 60);
    for (int i = 0; i < 6; ++i) {
        const int at = 1'000 + i * 150;
        s.hands.down(at, 71, 60);
        CHECK((s.sounding(at) == std::vector{open_d, 71}));
        s.hands.up(at + 75, 71);
        CHECK((s.sounding(at + 75) == std::vector{open_d, 69}));
    }
    s.hands.up(2'000, 69);
    s.hands.up(2'000, open_d);
    s.hands.until(3'000);
    CHECK(s.sounding(3'000).empty());
}

TEST_CASE("a legato line with overlapping fingers is one voice: steps and leaps end the old note at once")
{
    struct Row {
        const char* why;
        std::vector<int> notes;
        std::vector<int> overlaps;
        int length;
    };
    const Row rows[] = {
        {"a scale, 20 to 80 ms", {62, 64, 66, 67, 69, 71, 73, 74}, {20, 35, 80, 55, 25, 70, 40}, 300},
        {"an arpeggio, 20 to 80 ms", {62, 66, 69, 74, 78, 81, 78, 74}, {20, 35, 80, 55, 25, 70, 40}, 300},
        {"octaves, sixths and tenths", {62, 74, 66, 74, 69, 81, 72, 88}, {30, 60, 45, 80, 25, 70, 40}, 400},
        {"slow legato, 150 ms", {67, 71, 69, 74, 72, 76, 67, 79}, {150, 150, 150, 150, 150, 150, 150}, 1'500},
        {"quick legato, sloppy", {67, 71, 69, 74, 72, 76, 67, 79}, {110, 90, 110, 80, 110, 110, 60}, 125},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Scene s;
        for (std::size_t i = 0; i < r.notes.size(); ++i) {
            const int at = static_cast<int>(i) * r.length;
            s.hands.down(at, r.notes[i], 60);
            CHECK((s.sounding(at) == std::vector{r.notes[i]}));
            if (i > 0) s.hands.up(at + r.overlaps[i - 1], r.notes[i - 1]);
        }
        s.hands.up(static_cast<int>(r.notes.size()) * r.length, r.notes.back());
        s.hands.until(20'000);
        std::size_t forced = 0;
        for (const Fact& f : s.memory.of(FactKind::stroke_began)) forced += f.forced;
        CHECK(s.strokes() == 1 + forced);
        CHECK(s.mended() == 0);
        std::size_t struck = 0;
        for (const Message& m : s.memory.note_ons()) struck += m.first().get() > 50;
        CHECK(struck == r.notes.size());
    }
}

TEST_CASE("a sixth over a note held long against the notes before it is taken for a double stop, and a hand that meant a slur says so once")
{
    Scene s;
    int at = 0;
    const auto quick_notes = [&] {
        for (int i = 0; i < 4; ++i, at += 300) s.hands.note(at, 67 + i, 250, 60);
    };
    quick_notes();
    s.hands.down(at, 67, 60);
    s.hands.down(at + 2'000, 76, 60); // slurred after all
    CHECK((s.sounding(at + 2'000) == std::vector{67, 76}));
    s.hands.up(at + 2'040, 67);
    CHECK((s.sounding(at + 2'040) == std::vector{76}));
    s.hands.up(at + 2'500, 76);
    at += 2'700;
    quick_notes();
    s.hands.down(at, 67, 60);
    s.hands.down(at + 2'000, 76, 60);
    CHECK((s.sounding(at + 2'000) == std::vector{76}));
    s.hands.up(at + 2'040, 67);
    s.hands.up(at + 2'500, 76);
    s.hands.until(at + 4'000);
    CHECK(s.sounding(at + 4'000).empty());
}

TEST_CASE("two notes that one hand cannot hold: the older ends, the report says why, and it comes back when it is alone (geometry)")
{
    struct Row {
        const char* why;
        int held, over;
    };
    constexpr Row rows[] = {
        {"both below the second string", 56, 60},
        {"on strings that are not neighbours", 57, 83},
        {"a stretch beyond the hand", 63, 82},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Scene s;
        s.hands.down(0, r.held, 60);
        s.hands.down(500, r.over, 60);
        s.hands.until(1'500);
        CHECK((s.sounding(1'500) == std::vector{r.over}));
        CHECK(s.warned(Warning::not_playable_together) == 1);
        s.hands.up(2'000, r.over);
        CHECK((s.sounding(2'000) == std::vector{r.held}));
        s.hands.up(2'500, r.held);
        s.hands.until(4'000);
        CHECK(s.sounding(4'000).empty());
        CHECK(s.strokes() == 1);
    }
}

TEST_CASE("a held voice that one melody note did not leave room for is there again with the next")
{
    Scene s;
    s.hands.down(0, open_d, 60);
    s.hands.note(300, 69, 400, 60);
    s.hands.down(800, 71, 60);
    s.hands.down(1'200, 88, 60); // too high for the A string
    s.hands.up(1'230, 71);
    CHECK((s.sounding(1'230) == std::vector{88}));
    s.hands.down(1'600, 71, 60);
    s.hands.up(1'630, 88);
    CHECK((s.sounding(1'630) == std::vector{open_d, 71}));
    s.hands.up(2'000, 71);
    s.hands.up(2'000, open_d);
    s.hands.until(3'000);
    CHECK(s.sounding(3'000).empty());
}

TEST_CASE("three held keys and a melody: two notes sound, the rest is told")
{
    Scene s;
    for (const int pitch : {62, 66, 69}) s.hands.down(0, pitch, 60);
    s.hands.down(600, 71, 60);
    CHECK(s.sounding(600).size() == 2);
    s.hands.until(1'500);
    CHECK(s.sounding(1'500).size() == 2);
    CHECK(s.warned(Warning::not_playable_together) >= 1);
    for (const int pitch : {62, 66, 69, 71}) s.hands.up(2'000, pitch);
    s.hands.until(3'000);
    CHECK(s.sounding(3'000).empty());
}

TEST_CASE("a plucked or bouncing note over a held one ends it: the bow leaves the string")
{
    for (const Technique technique : {Technique::ricochet, Technique::pizzicato}) {
        CAPTURE(technique);
        Scene s;
        s.hands.down(0, open_d, 60);
        s.hands.note(400, 69, 300, 60);
        s.hands.command(900, Command::select_technique, static_cast<std::uint8_t>(technique));
        s.hands.note(1'000, 71, 100, 60);
        CHECK(s.sounding(1'200).empty());
        s.hands.until(3'000);
        s.hands.up(3'100, open_d);
        s.hands.until(4'000);
        CHECK(s.sounding(4'000).empty());
    }
}
