// The person's wishes for strokes, by pedal, key and command, and what the arm makes of them.
#include "player/scene.hpp"

#include <algorithm>
#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

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
