// Where the hand is, which string it takes, and the vibrato that the arm leaves.
#include "bow/fingerboard.hpp"
#include "bow/vibrato.hpp"
#include "player/fixture.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

TEST_CASE("positions are numbered by the step of the scale under the first finger (common practice, no source)")
{
    struct Row {
        const char* note; // on the G string
        int first;
        int number;
    };
    constexpr Row rows[] = {{"A3", 2, 1}, {"B3", 4, 2},   {"C4", 5, 3},  {"D4", 7, 4},
                            {"E4", 9, 5}, {"F#4", 11, 6}, {"G4", 12, 7}, {"A4", 14, 8}};
    for (const Row& row : rows) {
        CAPTURE(row.note);
        CHECK(position_number(violin(), {row.first}) == row.number);
    }
    Instrument cello = violin();
    cello.thumb_from = 12;
    CHECK_FALSE(position_number(cello, {12}));
}

TEST_CASE("the violin's first position reaches from the raised first tone to the fifth above the open string, and needs no shift within it")
{
    // First to fourth finger span a fourth: common practice, no source.
    for (int s = 0; s <= 12; ++s) {
        CAPTURE(s);
        CHECK(within_reach(violin(), {2}, s) == (s <= 7));
    }
    CHECK(moved_to(violin(), {2}, 5).first == 2);
    CHECK(moved_to(violin(), {2}, 12).first == 7);
    CHECK(moved_to(violin(), {7}, 3).first == 3);
    CHECK(moved_to(violin(), {7}, 0).first == 7);
}

TEST_CASE("six strings and five different places are more than four fingers hold")
{
    Instrument six = violin();
    const Stop stops[] = {{0, 3}, {1, 4}, {2, 5}, {3, 6}, {4, 7}};
    six.hand_span = Metres{0.2};
    CHECK((hold(six, stops) == Unplayable::too_many_fingers));
    const Stop barred[] = {{0, 3}, {1, 3}, {2, 5}, {3, 6}, {4, 7}};
    CHECK((hold(six, barred) == Unplayable::no));
}

TEST_CASE("a single note's string")
{
    const auto on = [](int pitch, auto change) {
        FingerNeeds needs;
        needs.pitch = Midi7::nearest(pitch);
        needs.current = std::uint8_t{1};
        change(needs);
        return static_cast<int>(finger(violin(), needs));
    };
    const auto plain = [](FingerNeeds&) {};
    CHECK(on(62, plain) == 1); // open strings where nothing speaks against them
    CHECK(on(69, plain) == 1);
    CHECK(on(77, plain) == 3);
    CHECK(on(71, plain) == 2);
    const auto sustained = [](FingerNeeds& n) { n.rather_stopped = true; };
    CHECK(on(62, sustained) == 0); // the fourth finger on the G string
    CHECK(on(76, sustained) == 2);
    CHECK(on(55, sustained) == 0); // there is no other
    const auto sul_g = [](FingerNeeds& n) { n.wished = std::uint8_t{0}; };
    CHECK(on(69, sul_g) == 0);
    CHECK(on(81, sul_g) == 0);
    CHECK(on(86, sul_g) == 3); // beyond the fingerboard
    // The hand is high on the lower string and stays there, where from the first position it would cross.
    const auto high = [](FingerNeeds& n) { n.hand = {7}; };
    CHECK(on(71, high) == 1);
    const auto taken = [](FingerNeeds& n) { n.taken.taken[1] = true; };
    CHECK(on(64, taken) == 0);
}

TEST_CASE("vibrato is only ever less than the person's, late by the delay, and narrower over the fingerboard and in a named technique")
{
    VibratoManner manner;
    manner.controller = Midi7::nearest(1);
    manner.onset_delay = Seconds{0.2};
    manner.onset_rise = Seconds{0.4};
    manner.in_sul_tasto = 0.25;
    manner.in[static_cast<std::size_t>(Technique::harmonic)] = 0;
    Vibrato vibrato{manner};
    CHECK(vibrato.hears(control_change(Channel{}, Midi7::nearest(1), Midi7::nearest(5))));
    CHECK_FALSE(vibrato.hears(control_change(Channel{}, Midi7::nearest(2), Midi7::nearest(5))));
    CHECK_FALSE(vibrato.value(at_ms(0), Technique::detache, 0.5));
    vibrato.moved(Midi7::nearest(100));
    const auto value = [&](int ms, Technique t, double contact) { return static_cast<int>(vibrato.value(at_ms(ms), t, contact)->get()); };
    CHECK(value(0, Technique::detache, 0.5) == 100); // no note has begun: it is the person's own
    vibrato.note_began(at_ms(1'000));
    CHECK(value(1'000, Technique::detache, 0.5) == 0);
    CHECK(value(1'199, Technique::detache, 0.5) == 0);
    CHECK(value(1'400, Technique::detache, 0.5) == 50);
    CHECK(value(1'600, Technique::detache, 0.5) == 100);
    int last = 0;
    for (int ms = 1'200; ms <= 1'600; ++ms) {
        const int now = value(ms, Technique::detache, 0.5);
        CHECK(now >= last);
        last = now;
    }
    CHECK(value(3'000, Technique::detache, 1.0) == 100);
    CHECK(value(3'000, Technique::detache, 0.0) == 25);
    CHECK(value(3'000, Technique::detache, 0.25) > 25);
    CHECK(value(3'000, Technique::detache, 0.25) < 100);
    CHECK(value(3'000, Technique::harmonic, 0.5) == 0);
}
