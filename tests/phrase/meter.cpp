#include "phrase/meter.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

TEST_CASE("bar and beat follow tempo and meter")
{
    struct Row {
        const char* why;
        std::int64_t ms;
        int bar;
        double beat, weight;
    };
    // Quarter = 500 ms, 4/4: arithmetic.
    constexpr Row rows[] = {
        {"the first beat", 0, 1, 1, 1.0},
        {"a little late is still the beat", 2'040, 2, 1, 1.0},
        {"a little early too", 1'960, 2, 1, 1.0},
        {"the middle of the bar is next", 3'000, 2, 3, 0.5},
        {"between beats weighs nothing", 2'250, 2, 1.5, 0.0},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Meter m(Seconds{0});
        m.tempo(Time{}, Seconds{0.5});
        m.meter(Time{}, {4, 2});
        const BeatPlace p = m.place(Time{} + milliseconds(r.ms));
        CHECK(p.bar == r.bar);
        CHECK(p.nearest == doctest::Approx(r.beat));
        CHECK(p.weight == r.weight);
    }
}

TEST_CASE("bars are counted on through changes of tempo and meter")
{
    Meter m(Seconds{0});
    m.tempo(Time{}, Seconds{0.5});
    m.meter(Time{}, {4, 2});
    m.tempo(Time{} + milliseconds(2'000), Seconds{1.0}); // bar 2 in half time
    CHECK(m.place(Time{} + milliseconds(4'000)).bar == 2);
    CHECK(m.place(Time{} + milliseconds(4'000)).nearest == doctest::Approx(3));
    m.meter(Time{} + milliseconds(6'000), {3, 3}); // bar 3 in 3/8: a bar lasts 1.5 s
    CHECK(m.place(Time{} + milliseconds(6'000)).bar == 3);
    CHECK(m.place(Time{} + milliseconds(7'500)).bar == 4);
}

TEST_CASE("an upbeat written as a short first bar is a bar of its own and no strong beat")
{
    // Common practice of notation programs, no source: 1/4, then 4/4 where the first whole bar begins.
    Meter m(Seconds{0});
    m.tempo(Time{}, Seconds{0.5});
    m.meter(Time{}, {1, 2});
    CHECK(m.place(Time{}).weight < 0.75);
    m.meter(Time{} + milliseconds(500), {4, 2});
    CHECK(m.place(Time{} + milliseconds(500)).bar == 2);
    CHECK(m.place(Time{} + milliseconds(500)).weight == 1);
    CHECK(m.place(Time{} + milliseconds(2'500)).bar == 3);
}

TEST_CASE("a signature that cuts a bar short begins the next bar")
{
    Meter m(Seconds{0.5});
    m.meter(Time{}, {4, 2});
    m.meter(Time{} + milliseconds(3'000), {3, 2}); // in the middle of bar 2
    CHECK(m.place(Time{} + milliseconds(3'000)).bar == 3);
    CHECK(m.place(Time{} + milliseconds(3'000)).nearest == 1);
    CHECK(m.place(Time{} + milliseconds(4'500)).bar == 4);
}

TEST_CASE("without a tempo, or without a meter, a file tells no place")
{
    Meter no_tempo(Seconds{0});
    no_tempo.meter(Time{}, {4, 2});
    CHECK(no_tempo.place(Time{} + milliseconds(500)).confidence == 0);
    Meter no_meter(Seconds{0.5});
    CHECK(no_meter.place(Time{} + milliseconds(500)).confidence == 0);
}
