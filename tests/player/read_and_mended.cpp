// What the arm reads from how notes are played, what it does where it was wrong, and what a choice changes.  Common practice, no source.
#include "player/scene.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

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
