// What a string player expects of the arm.  Facts of the trade are common practice, no source, unless one is named.
#include "player/fixture.hpp"

#include <algorithm>
#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Scene {
    PlayerConfig config = violin_config();
    Memory memory;
    Player player{config};
    Hands hands{player, memory};
};

std::vector<Direction> directions(const Memory& m)
{
    std::vector<Direction> d;
    for (const Fact& f : m.of(FactKind::stroke_began)) d.push_back(f.direction);
    return d;
}

// Seconds a note of this velocity lasts on one bow from the frog before the bow has to change.
double seconds_to_change(int velocity)
{
    Scene s;
    s.hands.down(0, 69, velocity);
    s.hands.until(60'000);
    const auto parts = s.memory.of(FactKind::part_ended);
    REQUIRE(!parts.empty());
    return to_seconds(parts[0].at - parts[0].began).value;
}

} // namespace

TEST_CASE("separate notes alternate down and up")
{
    Scene s;
    for (int i = 0; i < 8; ++i) s.hands.note(i * 500, 67 + i, 440);
    s.hands.until(10'000);
    using enum Direction;
    CHECK((directions(s.memory) == std::vector{down, up, down, up, down, up, down, up}));
    CHECK(s.memory.of(FactKind::warning).empty());
}

TEST_CASE("overlapping keys are one bow: four notes in a bow are ordinary, eight are easy")
{
    for (const int notes : {4, 8}) {
        CAPTURE(notes);
        Scene s;
        for (int i = 0; i < notes; ++i) {
            s.hands.down(i * 250, 67 + i, 70);
            if (i > 0) s.hands.up(i * 250 + 25, 66 + i);
        }
        s.hands.up(notes * 250, 66 + notes);
        s.hands.until(10'000);
        CHECK(s.memory.of(FactKind::stroke_began).size() == 1);
        CHECK(s.memory.of(FactKind::note_began).size() == static_cast<std::size_t>(notes));
        CHECK(s.memory.of(FactKind::warning).empty());
    }
}

TEST_CASE("a faster bow runs out sooner")
{
    const double soft = seconds_to_change(25);
    const double middle = seconds_to_change(70);
    const double loud = seconds_to_change(120);
    CHECK(soft > middle);
    CHECK(middle > loud);
    // Longest whole bow, violin: pp 10 to 13 s, about 15 s at the slowest (C. Flesch; C. Forsyth 1914, second-hand);
    // f 3.3 to 4.4 s (second-hand).  The bounds here leave room on both sides.
    CHECK(soft > 5);
    CHECK(soft < 16);
    CHECK(loud > 1);
    CHECK(loud < 6);
}

TEST_CASE("a held note that outlives the hair changes bow without a new note by default")
{
    Scene s;
    s.hands.down(0, 62, 110);
    s.hands.until(8'000);
    s.hands.up(8'000, 62);
    s.hands.until(9'000);
    CHECK(s.memory.of(FactKind::stroke_began).size() >= 2);
    int sounding = 0;
    for (const Message& m : s.memory.note_ons()) sounding += m.first().get() == 62;
    CHECK(sounding == 1);
    const auto strokes = s.memory.of(FactKind::stroke_began);
    CHECK(strokes[0].direction != strokes[1].direction);
    CHECK(strokes[1].forced);
    CHECK(!s.memory.of(FactKind::warning).empty());
}

TEST_CASE("where the target asks for it the change inside a held note is a new note")
{
    PlayerConfig config = violin_config();
    config.target.held_change = HeldChange::new_note;
    Memory memory;
    Player player{config};
    Hands hands{player, memory};
    hands.down(0, 62, 110);
    hands.up(6'000, 62);
    hands.until(7'000);
    int ons = 0;
    int offs = 0;
    for (const Sent& m : memory.sent) {
        if (m.message.first().get() != 62 || m.message.kind() == MessageKind::control_change) continue;
        ons += m.message.is_note_on();
        offs += m.message.is_note_off();
    }
    CHECK(ons >= 2);
    CHECK(ons == offs);
}

TEST_CASE("short notes read as staccato or spiccato by tempo and loudness")
{
    struct Row {
        const char* why;
        int interval_ms, held_ms, velocity;
        Technique expect;
    };
    constexpr Row rows[] = {
        {"quick, soft and short: off the string", 150, 60, 50, Technique::spiccato},
        {"slow and short: stays on the string", 600, 180, 50, Technique::staccato},
        {"quick and short, but loud: stays on the string", 150, 60, 120, Technique::staccato},
        {"held nearly to the next: detache", 300, 270, 70, Technique::detache},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Scene s;
        for (int i = 0; i < 12; ++i) s.hands.note(i * r.interval_ms, 69 + i % 3, r.held_ms, r.velocity);
        s.hands.until(20'000);
        const auto notes = s.memory.of(FactKind::note_began);
        CHECK(notes.size() == 12);
        for (std::size_t i = 4; i < notes.size(); ++i) CHECK((notes[i].technique == r.expect));
    }
}

TEST_CASE("a heavily accented short note stays on the string")
{
    Scene s;
    for (int i = 0; i < 10; ++i) s.hands.note(i * 150, 69, 60, i == 8 ? 90 : 50);
    s.hands.until(5'000);
    const auto notes = s.memory.of(FactKind::note_began);
    CHECK((notes[7].technique == Technique::spiccato));
    CHECK((notes[8].technique == Technique::marcato));
    CHECK((notes[9].technique == Technique::spiccato));
}

TEST_CASE("a chosen technique wins over reading until the arm reads again")
{
    Scene s;
    s.hands.note(0, 16, 50); // marcato
    for (int i = 0; i < 4; ++i) s.hands.note(500 + i * 150, 69, 60, 40);
    s.hands.note(3'000, 19, 50); // read again
    s.hands.note(3'500, 69, 1'000, 40);
    s.hands.until(9'000);
    const auto notes = s.memory.of(FactKind::note_began);
    REQUIRE(notes.size() == 5);
    for (std::size_t i = 0; i < 4; ++i) CHECK((notes[i].technique == Technique::marcato));
    CHECK((notes[4].technique != Technique::marcato));
}

TEST_CASE("a note read as short that turns out to be slurred goes on in the same bow")
{
    for (const int velocity : {50, 120}) { // off the string, and on it
        CAPTURE(velocity);
        Scene s;
        for (int i = 0; i < 8; ++i) s.hands.note(i * 250, 69 + i % 2, 110, velocity);
        s.hands.down(2'000, 72, velocity);
        s.hands.down(2'250, 74, velocity);
        s.hands.up(2'300, 72);
        s.hands.until(2'400);
        const auto notes = s.memory.of(FactKind::note_began);
        REQUIRE(notes.size() == 10);
        CHECK((notes[8].read == Family::short_notes));
        CHECK((notes[9].read == Family::slurred));
        CHECK(notes[9].stroke == notes[8].stroke);
        s.hands.up(2'600, 74);
        s.hands.until(5'000);
    }
}

TEST_CASE("what was read is told with the note, and nothing where a technique is chosen")
{
    Scene s;
    s.hands.note(0, 69, 440);
    s.hands.note(500, 71, 440);
    s.hands.note(1'000, 16, 50); // marcato
    s.hands.note(1'500, 69, 440);
    s.hands.until(5'000);
    const auto notes = s.memory.of(FactKind::note_began);
    REQUIRE(notes.size() == 3);
    CHECK((notes[0].read == Family::ambiguous));
    CHECK((notes[1].read == Family::separate));
    CHECK(!notes[2].read);
}

TEST_CASE("a short sample under a held key is mended once, with a soft new note")
{
    Scene s;
    for (int i = 0; i < 6; ++i) s.hands.note(i * 150, 69, 60, 50);
    s.hands.note(900, 71, 1'500, 50);
    s.hands.until(5'000);
    CHECK(s.memory.of(FactKind::repaired).size() == 1);
    std::vector<int> velocities;
    for (const Message& m : s.memory.note_ons())
        if (m.first().get() == 71) velocities.push_back(m.second().get());
    REQUIRE(velocities.size() == 2);
    CHECK(velocities[1] < velocities[0]);
}

TEST_CASE("where the target has no repair the wrong choice is counted")
{
    PlayerConfig config = violin_config();
    for (TechniqueWay& way : config.target.techniques) way.repair = Repair::none;
    Memory memory;
    Player player{config};
    Hands hands{player, memory};
    for (int i = 0; i < 6; ++i) hands.note(i * 150, 69, 60, 50);
    hands.note(900, 71, 1'500, 50);
    hands.until(5'000);
    CHECK(memory.of(FactKind::repaired).empty());
    CHECK(memory.of(FactKind::unmended).size() == 1);
}

TEST_CASE("the same-bow pedal keeps the direction and piles up no notes")
{
    Scene s;
    s.hands.note(0, 69, 200, 60);
    s.hands.controller(250, 64, 127);
    s.hands.note(300, 71, 200, 60);
    s.hands.note(600, 72, 200, 60);
    s.hands.controller(850, 64, 0);
    s.hands.note(900, 74, 200, 60);
    s.hands.until(3'000);
    using enum Direction;
    CHECK((directions(s.memory) == std::vector{down, down, down, up}));
    for (const Sent& m : s.memory.sent) CHECK(!(m.message.kind() == MessageKind::control_change && m.message.first().get() == 64));
}

TEST_CASE("the person's wishes for the next stroke are obeyed")
{
    Scene s;
    s.hands.note(0, 69, 300);
    s.hands.note(350, 22, 20); // next down
    s.hands.note(400, 69, 300);
    s.hands.note(750, 23, 20); // next up
    s.hands.note(800, 69, 300);
    s.hands.note(1'150, 23, 20);
    s.hands.note(1'200, 69, 300);
    s.hands.until(4'000);
    using enum Direction;
    CHECK((directions(s.memory) == std::vector{down, down, up, up}));
}

TEST_CASE("free alternation: no hook, no retake, no rule of the down-bow, and the arm's own choice when it ends")
{
    // Dotted pairs, then rests before strong beats with one note too many between: all that practice would bow otherwise.
    const auto playing = [](Scene& s) {
        s.hands.input(tempo_input(at_ms(0), 500'000));
        s.hands.input(meter_input(at_ms(0), 4, 2));
        for (int i = 0; i < 6; ++i) {
            s.hands.note(i * 500, 69, 360);
            s.hands.note(i * 500 + 375, 71, 110);
        }
        for (int i = 0; i < 3; ++i) s.hands.note(4'000 + i * 2'000, 57, 900, 115);
        s.hands.until(9'900);
    };
    Scene free;
    free.hands.command(0, Command::alternate_on);
    playing(free);
    const auto strokes = free.memory.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 15);
    for (std::size_t i = 0; i < strokes.size(); ++i) {
        CAPTURE(i);
        CHECK((strokes[i].direction == (i % 2 == 0 ? Direction::down : Direction::up)));
        CHECK(!strokes[i].hooked);
        CHECK(!strokes[i].retake);
    }
    CHECK((strokes[4].reasons[0] == Reason::alternate_wish));
    Snapshot snapshot;
    free.player.read(snapshot);
    CHECK(snapshot.alternating);

    free.hands.command(9'910, Command::alternate_off);
    free.hands.note(10'000, 57, 900, 115); // up has gone before; again down on the strong beat after the rest
    free.hands.note(12'000, 57, 900, 115);
    free.hands.until(14'000);
    CHECK((directions(free.memory).back() == Direction::down));

    Scene usual;
    playing(usual);
    CHECK((directions(usual.memory) != directions(free.memory)));
    CHECK(std::any_of(usual.memory.facts.begin(), usual.memory.facts.end(), [](const Fact& f) { return f.hooked; }));
}

TEST_CASE("free alternation bows on: a wish for one stroke is stronger, and the next ones alternate from there")
{
    Scene s;
    s.hands.command(0, Command::alternate_on);
    s.hands.note(0, 69, 300);
    s.hands.command(350, Command::next_down);
    s.hands.note(400, 69, 300);
    s.hands.note(800, 69, 300);
    s.hands.until(2'000);
    using enum Direction;
    CHECK((directions(s.memory) == std::vector{down, down, up}));
}

TEST_CASE("a wished direction that has no hair left is obeyed with a lift, where there is time for one")
{
    for (const bool time_to_lift : {false, true}) {
        CAPTURE(time_to_lift);
        PlayerConfig patient = violin_config();
        patient.lift_after = Seconds{0.5}; // the arm lifts by itself only after longer rests than these
        Memory memory;
        Player player{patient};
        Hands hands{player, memory};
        // Down from the frog to the last centimetre, as long as this violin's bow lasts at this loudness.
        const auto length = static_cast<std::int64_t>(seconds_to_change(80) * 1'000) - 60;
        hands.note(0, 69, length);
        hands.command(length + 10, Command::next_down);
        hands.note(length + (time_to_lift ? 350 : 60), 69, 300);
        hands.until(length + 3'000);
        const auto strokes = memory.of(FactKind::stroke_began);
        REQUIRE(strokes.size() == 2);
        REQUIRE(strokes[0].direction == Direction::down);
        CAPTURE(strokes[1].hair_from.value);
        CHECK((strokes[1].direction == (time_to_lift ? Direction::down : Direction::up)));
        CHECK(strokes[1].retake == time_to_lift);
    }
}

TEST_CASE("a wished retake needs its time")
{
    Scene s;
    s.hands.note(0, 69, 1'000);
    s.hands.note(1'010, 24, 5);   // retake
    s.hands.note(1'030, 69, 300); // 30 ms of rest: no hand is so fast
    s.hands.note(2'000, 24, 5);
    s.hands.note(2'500, 69, 300);
    s.hands.until(6'000);
    const auto strokes = s.memory.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 3);
    CHECK(!strokes[1].retake);
    CHECK(strokes[2].retake);
    const auto warnings = s.memory.of(FactKind::warning);
    REQUIRE(warnings.size() == 1);
    CHECK((warnings[0].warning == Warning::retake_has_no_time));
}

TEST_CASE("after a rest a strong beat takes a down-bow, whatever came before (K. W. Gehrkens, Essentials in Conducting, 1919)")
{
    for (const int before : {3, 4}) {
        CAPTURE(before);
        Scene s;
        s.hands.input(tempo_input(at_ms(0), 500'000));
        s.hands.input(meter_input(at_ms(0), 4, 2));
        for (int i = 0; i < before; ++i) s.hands.note(i * 500, 69, 400);
        s.hands.note(8'000, 69, 400); // bar 5, after a long rest
        s.hands.until(10'000);
        const auto strokes = s.memory.of(FactKind::stroke_began);
        CHECK((strokes.back().direction == Direction::down));
        CHECK(strokes.back().place.bar == 5);
    }
}

TEST_CASE("a phrase that starts on a weak beat starts up-bow (K. W. Gehrkens, Essentials in Conducting, 1919), a loud one may come down")
{
    for (const int velocity : {40, 64, 120}) {
        CAPTURE(velocity);
        Scene s;
        s.hands.input(tempo_input(at_ms(0), 500'000));
        s.hands.input(meter_input(at_ms(0), 4, 2));
        s.hands.note(1'500, 69, 400, velocity);
        s.hands.note(2'000, 71, 400, velocity);
        s.hands.until(4'000);
        const auto d = directions(s.memory);
        REQUIRE(d.size() == 2);
        CHECK(d[0] == (velocity == 120 ? Direction::down : Direction::up));
        CHECK(d[1] != d[0]);
    }
}

TEST_CASE("forte chords of three and four notes are down-bows, each of them (string-class textbook: chords)")
{
    Scene s;
    for (int i = 0; i < 4; ++i) {
        for (const int pitch : {55, 62, 71}) s.hands.down(i * 600, pitch, 110);
        for (const int pitch : {55, 62, 71}) s.hands.up(i * 600 + 350, pitch);
    }
    s.hands.until(4'000);
    for (const Fact& f : s.memory.of(FactKind::note_began)) CHECK((f.direction == Direction::down || f.note % 3 == 0));
    std::vector<Fact> ended = s.memory.of(FactKind::stroke_ended);
    REQUIRE(ended.size() == 4);
    for (const Fact& f : ended) CHECK((f.direction == Direction::down));
}

TEST_CASE("after a rest a soft start comes up from the tip and a loud one down from the frog")
{
    for (const int velocity : {35, 110}) {
        CAPTURE(velocity);
        for (const int before : {3, 4}) {
            Scene s;
            for (int i = 0; i < before; ++i) s.hands.note(i * 500, 69, 400, 64);
            s.hands.note(5'000, 69, 400, velocity);
            s.hands.until(7'000);
            const Fact last = s.memory.of(FactKind::stroke_began).back();
            CHECK((last.direction == (velocity < 64 ? Direction::up : Direction::down)));
            CHECK((last.direction == Direction::down ? last.hair_from.value < 0.5 : last.hair_from.value > 0.5));
        }
    }
}

TEST_CASE("keys that overlap by accident are separate strokes, keys that overlap on purpose are one")
{
    for (const int overlap : {6, 12, 26, 60}) {
        CAPTURE(overlap);
        Scene s;
        for (int i = 0; i < 6; ++i) {
            s.hands.down(i * 250, 67 + i, 70);
            if (i > 0) s.hands.up(i * 250 + overlap, 66 + i);
        }
        s.hands.up(1'490, 72);
        s.hands.until(4'000);
        CHECK(s.memory.of(FactKind::stroke_began).size() == (overlap < 20 ? 6u : 1u));
    }
}

TEST_CASE("notes of a chord join one stroke and sound at once")
{
    Scene s;
    s.hands.down(0, 62);
    s.hands.down(12, 71);
    s.hands.up(500, 62);
    s.hands.up(505, 71);
    s.hands.until(2'000);
    CHECK(s.memory.of(FactKind::stroke_began).size() == 1);
    const auto notes = s.memory.of(FactKind::note_began);
    REQUIRE(notes.size() == 2);
    CHECK(notes[0].at == at_ms(0));
    CHECK(notes[1].at == at_ms(12));
    CHECK(notes[0].string != notes[1].string);
}

TEST_CASE("two notes below the second string cannot sound together (geometry)")
{
    Scene s;
    s.hands.down(0, 56);
    s.hands.down(5, 60);
    s.hands.until(100);
    const auto warnings = s.memory.of(FactKind::warning);
    REQUIRE(warnings.size() == 1);
    CHECK((warnings[0].warning == Warning::not_playable_together));
}

TEST_CASE("a plucked note leaves the bow where it is")
{
    Scene s;
    s.hands.note(0, 69, 400);
    s.hands.until(900);
    Snapshot before;
    s.player.read(before);
    s.hands.note(1'000, 18, 5);
    s.hands.note(1'500, 69, 100);
    s.hands.note(2'000, 71, 100);
    s.hands.until(3'000);
    Snapshot after;
    s.player.read(after);
    CHECK(before.hair == after.hair);
    CHECK(s.memory.of(FactKind::stroke_began).size() == 1);
    CHECK(s.memory.of(FactKind::note_began).size() == 3);
}

TEST_CASE("tremolo stays at its place on the hair")
{
    Scene s;
    s.hands.note(0, 17, 5);
    s.hands.down(100, 69, 60);
    s.hands.until(1'100);
    Snapshot first;
    s.player.read(first);
    s.hands.until(9'100);
    Snapshot later;
    s.player.read(later);
    const double moved = later.hair.value - first.hair.value;
    CHECK(moved < 0.1);
    CHECK(moved > -0.1);
    CHECK(s.memory.of(FactKind::warning).empty());
}

TEST_CASE("a trill held over one key returns to it in the same bow")
{
    Scene s;
    s.hands.down(0, 69);
    s.hands.down(200, 71);
    s.hands.up(300, 71);
    s.hands.up(600, 69);
    s.hands.until(2'000);
    CHECK(s.memory.of(FactKind::stroke_began).size() == 1);
    std::vector<int> keys;
    for (const Message& m : s.memory.note_ons())
        if (m.first().get() > 50) keys.push_back(m.first().get());
    CHECK((keys == std::vector{69, 71, 69}));
}

TEST_CASE("repeated dotted pairs are hooked: the short note joins the long one, and the long ones alternate (M. Rabin & P. Smith 1984: the "
          "style)")
{
    Scene s;
    for (int i = 0; i < 8; ++i) {
        s.hands.note(i * 800, 67, 500, 80);
        s.hands.note(i * 800 + 600, 69, 160, 80);
    }
    s.hands.until(10'000);
    const auto strokes = s.memory.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 16);
    // Live hears the figure before it believes it; from the third pair on the bow is hooked.
    for (std::size_t i = 4; i + 1 < 16; i += 2) {
        CHECK((strokes[i + 1].direction == strokes[i].direction));
        CHECK(strokes[i + 1].hooked);
        if (i + 2 < 16) CHECK((strokes[i + 2].direction != strokes[i].direction));
    }
}

TEST_CASE("even notes, and a single dotted pair among them, are not hooked")
{
    Scene s;
    const int lengths[] = {400, 400, 400, 600, 200, 400, 400, 400};
    std::int64_t at = 0;
    for (const int length : lengths) {
        s.hands.note(at, 67, length - 50, 70);
        at += length;
    }
    s.hands.until(6'000);
    const auto strokes = s.memory.of(FactKind::stroke_began);
    for (std::size_t i = 1; i < strokes.size(); ++i) CHECK((strokes[i].direction != strokes[i - 1].direction));
}
