#include "studio/control_listener.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

void move(ControlListener& listener, int number, int from, int to)
{
    for (int v = from; v != to; v += from < to ? 1 : -1) listener.hear(control_change({}, Midi7::nearest(number), Midi7::nearest(v)));
    listener.hear(control_change({}, Midi7::nearest(number), Midi7::nearest(to)));
}
void press(ControlListener& listener, int key)
{
    listener.hear(note_on({}, Midi7::nearest(key), Midi7::nearest(80)));
    listener.hear(note_off({}, Midi7::nearest(key)));
}

} // namespace

TEST_CASE("nothing moved is nothing heard")
{
    ControlListener listener;
    CHECK(!listener.sliding());
    CHECK(!listener.pedal());
    CHECK(listener.keys().empty());
    // A controller that is heard but stands still has not been moved.
    for (int i = 0; i < 20; ++i) listener.hear(control_change({}, Midi7::nearest(11), Midi7::nearest(64)));
    CHECK(!listener.sliding());
}

TEST_CASE("a pedal is the controller that travelled farthest, with the ends it reached")
{
    ControlListener listener;
    move(listener, 1, 60, 64); // a wheel that was brushed
    move(listener, 11, 40, 6);
    move(listener, 11, 6, 119);
    const auto found = listener.sliding();
    REQUIRE(found);
    CHECK(found->kind == PersonController::control_change);
    CHECK(found->number.get() == 11);
    CHECK(found->lowest.get() == 6);
    CHECK(found->highest.get() == 119);
    CHECK(!found->ends_low);
    CHECK(!found->fine);
    CHECK(!found->steps);
    listener.forget();
    CHECK(!listener.sliding());
}

TEST_CASE("a pedal left at its loud end with a low value works the other way round")
{
    ControlListener listener;
    move(listener, 4, 127, 3);
    REQUIRE(listener.sliding());
    CHECK(listener.sliding()->ends_low);
}

// MIDI 1.0, controller numbers: 0 to 31 are high halves, 32 to 63 the low halves of the same controllers.
TEST_CASE("a controller of 14 bits is known by its high half, though the low half moves farther")
{
    ControlListener listener;
    for (int v = 0; v < 100 * 128; v += 37) {
        listener.hear(control_change({}, Midi7::nearest(11), Midi7::nearest(v / 128)));
        listener.hear(control_change({}, Midi7::nearest(43), Midi7::nearest(v % 128)));
    }
    REQUIRE(listener.sliding());
    CHECK(listener.sliding()->number.get() == 11);
    CHECK(listener.sliding()->highest.get() == 99);
    CHECK(listener.sliding()->fine);

    ControlListener alone;
    move(alone, 43, 0, 127); // nothing says that it is a half
    REQUIRE(alone.sliding());
    CHECK(alone.sliding()->number.get() == 43);
    CHECK(!alone.sliding()->fine);
}

TEST_CASE("pressure of the whole channel is a control like a pedal")
{
    ControlListener listener;
    for (int v = 0; v < 127; ++v) listener.hear(channel_pressure({}, Midi7::nearest(v)));
    REQUIRE(listener.sliding());
    CHECK(listener.sliding()->kind == PersonController::channel_pressure);
}

TEST_CASE("numbers with a meaning of their own are no pedals, and a switch is told from one")
{
    ControlListener listener;
    for (const int reserved : {0, 6, 32, 38, 64, 98, 101, 123}) move(listener, reserved, 0, 127);
    CHECK(!listener.sliding());
    for (const int value : {0, 127, 0, 127}) listener.hear(control_change({}, Midi7::nearest(66), Midi7::nearest(value)));
    REQUIRE(listener.sliding());
    CHECK(listener.sliding()->steps);
}

// MIDI 1.0, controller numbers: 64 and above is on.
TEST_CASE("a switch pedal is known when it was pressed and let go, and turned when it rests at on")
{
    struct Row {
        const char* why;
        std::vector<int> values;
        bool known, turned;
    };
    const Row rows[] = {
        {"pressed only", {127}, false, false},
        {"pressed and let go", {127, 0}, true, false},
        {"turned: pressing says off, letting go says on", {0, 127}, true, true},
        {"a pedal with half-way values", {3, 40, 90, 127, 80, 20, 0}, true, false},
        {"pressed twice", {127, 0, 127, 0}, true, false},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        ControlListener listener;
        for (const int value : row.values) listener.hear(control_change({}, Midi7::nearest(64), Midi7::nearest(value)));
        CHECK(listener.pedal().has_value() == row.known);
        if (!row.known || !listener.pedal()) continue;
        CHECK(listener.pedal()->number.get() == 64);
        CHECK(listener.pedal()->turned == row.turned);
    }
}

TEST_CASE("keys come in the order in which they were last pressed, each once")
{
    ControlListener listener;
    for (const int key : {12, 13, 12}) press(listener, key);
    REQUIRE(listener.keys().size() == 2);
    CHECK(listener.keys()[0].get() == 13);
    CHECK(listener.keys()[1].get() == 12);
}
