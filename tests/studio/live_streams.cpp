// What an engine passes on without bowing it, and our own output that comes back.
#include "live_house.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

TEST_CASE("a marked stream is passed on as it is, once, and ends with its input")
{
    House house{settings_from_text("[[player]]\nname = \"a\"\n[[player]]\nname = \"b\"\n")};
    house.play(10, bowed_mark(channel(7)));
    house.play(20, note_on(channel(7), n(60), n(33)));
    house.run_to(100);
    CHECK(house.sent[0] == std::vector<Message>{bowed_mark(channel(7)), note_on(channel(7), n(60), n(33))});
    house.lines->from_ports.push({at(110), {0}, InputKind::port_lost, {}});
    house.run_to(200);
    CHECK(house.left_on(0) == 0);
}

// MIDI 1.0 Detailed Specification 4.2.1: every note-on gets its own note-off.
TEST_CASE("a key that a marked stream strikes twice is let go of twice")
{
    House house{settings_from_text("[player]\n")};
    house.play(10, bowed_mark(channel(7)));
    for (const int ms : {20, 30}) house.play(ms, note_on(channel(7), n(60), n(33)));
    for (const int ms : {40, 50}) house.play(ms, note_off(channel(7), n(60)));
    house.run_to(45);
    CHECK(house.left_on(0) == 1);
    house.run_to(100);
    CHECK(house.left_on(0) == 0);
}

namespace
{

// The stream's next note, 10 ms after the first 200, comes out unchanged.
bool goes_on_as_it_is(House& house)
{
    house.sent[0].clear();
    house.play(210, note_on(channel(7), n(62), n(34)));
    house.run_to(300);
    return house.sent[0] == std::vector<Message>{note_on(channel(7), n(62), n(34))};
}

} // namespace

TEST_CASE("panic, by command or by a key, ends what was passed on, and what comes next is passed on as before")
{
    for (const bool by_key : {false, true}) {
        CAPTURE(by_key);
        House house{settings_from_text("[player]\n[[controls.key]]\nkey = 21\ndoes = \"panic\"\n")};
        house.play(10, bowed_mark(channel(7)));
        house.play(20, note_on(channel(7), n(60), n(33)));
        house.run_to(100);
        CHECK(house.left_on(0) == 1);
        if (by_key)
            house.play(110, note_on(Channel{}, n(21), n(80)), 1);
        else
            house.lines->from_service.push(command_input(at(110), Command::panic));
        house.run_to(200);
        CHECK(house.left_on(0) == 0);
        CHECK(goes_on_as_it_is(house));
    }
}

TEST_CASE("a stream stays marked over a gap, and not over a lost port")
{
    House house{settings_from_text("[player]\n")};
    house.play(10, bowed_mark(channel(7)));
    house.play(20, note_on(channel(7), n(60), n(33)));
    house.run_to(100);
    house.lines->from_ports.push({at(110), {0}, InputKind::gap, {}});
    house.run_to(200);
    CHECK(house.left_on(0) == 0);
    CHECK(goes_on_as_it_is(house));
    house.lines->from_ports.push({at(310), {0}, InputKind::port_lost, {}});
    house.run_to(400);
    CHECK(house.left_on(0) == 0);
    house.play(410, note_on(channel(7), n(64), n(35)));
    house.run_to(500);
    CHECK(house.ons(0, 7) == 1); // the one of before: this one is bowed, on the target's channel
}

TEST_CASE("our own output that comes back is cut, nothing hangs, and it is heard again when it has been quiet")
{
    House house{settings_from_text("[player]\ntarget = \"controller-ranges\"\n")};
    std::size_t returned = 0;
    house.play(5, note_on(Channel{}, n(60), n(80)), 1);
    bool cut = false;
    for (int ms = 0; ms < 1500; ms += 2) {
        house.run_to(ms);
        for (; returned < house.sent[0].size(); ++returned) house.play(ms + 10, house.sent[0][returned]);
        cut = cut || house.lines->counts.cut_inputs.load() == 1;
    }
    CHECK(cut);
    CHECK(house.ons(0, 1) < 20);
    house.play(1600, note_off(Channel{}, n(60)), 1);
    house.run_to(6000);
    CHECK(house.left_on(0) == 0);
    house.play(6010, note_on(Channel{}, n(62), n(80)));
    house.play(6300, note_off(Channel{}, n(62)));
    const int before = house.ons(0, 1);
    house.run_to(7000);
    CHECK(house.lines->counts.cut_inputs.load() == 0);
    CHECK(house.ons(0, 1) == before + 1);
}
