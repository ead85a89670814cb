// Feedback loops are found, and people and sequencers that only sound like one are not taken for it.
#include "hear/loop_watch.hpp"

#include <algorithm>
#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }
Time at(std::int64_t ms) { return Time{} + milliseconds(ms); }
Message key(int pitch, int velocity) { return note_on(Channel{}, n(pitch), n(velocity)); }
Message pedal(int value) { return control_change(Channel{}, n(11), n(value)); }

} // namespace

TEST_CASE("curves that come back are a loop, and three quiet seconds end the cut")
{
    LoopWatch watch;
    int cuts = 0;
    for (int i = 0; i < 20; ++i) {
        watch.sent(at(100 + 5 * i), pedal(40 + i));
        cuts += watch.heard(at(100 + 5 * i + 43), 2, pedal(40 + i)) ? 1 : 0; // two periods of 1024 at 48 kHz
    }
    CHECK(cuts == 1);
    CHECK(watch.is_cut(2));
    CHECK_FALSE(watch.is_cut(0));
    CHECK_FALSE(watch.look_again(at(3000)));
    CHECK(watch.next_look() == at(100 + 5 * 19 + 43 + 3000));
    CHECK(watch.look_again(at(3300)));
    CHECK_FALSE(watch.is_cut(2));
    CHECK(watch.next_look() == Time::never());
}

TEST_CASE("a key that chases itself through a loop is found although nothing else is sent")
{
    LoopWatch watch;
    watch.heard(at(0), 0, key(60, 80));
    bool cut = false;
    for (int i = 0; i < 20 && !cut; ++i) {
        watch.sent(at(20 * i), key(60, 80));
        cut = watch.heard(at(20 * i + 20), 1, key(60, 80));
    }
    CHECK(cut);
}

TEST_CASE("a sequencer that monitors the keyboard brings every key once more: no loop")
{
    LoopWatch watch;
    for (int i = 0; i < 500; ++i) {
        const Message m = i % 3 == 0 ? pedal(i % 100) : key(60 + i % 12, 50 + i % 40);
        const Time t = at(30 * i);
        CHECK_FALSE(watch.heard(t, 0, m));
        watch.sent(t, m); // a target that gets what was played
        CHECK_FALSE(watch.heard(t + milliseconds(12), 1, m));
        watch.sent(t + milliseconds(12), m);
    }
}

TEST_CASE("a pedal that the arm's curve follows on the same controller is no loop")
{
    LoopWatch watch;
    int value = 64, curve = 64;
    std::uint32_t state = 1;
    for (int i = 0; i < 5000; ++i) {
        state = static_cast<std::uint32_t>(std::uint64_t{state} * 48271 % 2147483647); // Park and Miller
        value = std::clamp(value + static_cast<int>(state % 9) - 4, 0, 127);
        CHECK_FALSE(watch.heard(at(12 * i), 0, pedal(value)));
        curve += (value - curve) / 2;
        watch.sent(at(12 * i + 3), pedal(curve));
        watch.sent(at(12 * i + 8), pedal(std::min(curve + 1, 127)));
    }
}

TEST_CASE("fast repeated notes of one velocity, sixteen a second, are no loop")
{
    LoopWatch watch;
    for (int i = 0; i < 200; ++i) {
        CHECK_FALSE(watch.heard(at(62 * i), 0, key(60, 80)));
        watch.sent(at(62 * i), key(60, 80));
    }
}
