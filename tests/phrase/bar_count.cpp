// What bars before teach: how many strokes lead to the next bar, how long strokes are, how a group was bowed.
#include "phrase/bar_count.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

BeatPlace place(std::int32_t bar, double beat)
{
    BeatPlace p;
    p.bar = bar;
    p.beat = p.nearest = beat;
    p.weight = beat == 1 ? 1 : 0.3;
    p.confidence = p.beat_confidence = 1;
    p.source = BeatSource::file;
    p.beat_length = Seconds{0.5};
    p.to_bar = Seconds{0.5 * (5 - beat)};
    return p;
}

constexpr Seconds quarter{0.5};

} // namespace

TEST_CASE("without a bar nothing is counted")
{
    BarCount count;
    BeatPlace nowhere;
    count.stroke_began(nowhere, Direction::down, true);
    CHECK(count.ahead(nowhere, quarter).confidence == 0);
    CHECK(!count.last_time(nowhere));
    CHECK(!count.usual_length(nowhere));
}

TEST_CASE("strokes to the bar: first by their expected length, then by what came before at that place")
{
    BarCount count;
    CHECK(count.ahead(place(1, 4), quarter).count == 1);
    CHECK(count.ahead(place(1, 3), quarter).count == 2);
    CHECK(count.ahead(place(1, 1), Seconds{0.3}).confidence == 0); // no whole number, and too many
    // Beat 3 and two eighths, twice.
    for (const int bar : {1, 2})
        for (const double beat : {3.0, 4.0, 4.5}) count.stroke_began(place(bar, beat), Direction::up, beat == 3.0);
    count.stroke_began(place(3, 1), Direction::down, false);
    const StrokesAhead known = count.ahead(place(3, 3), quarter);
    CHECK(known.count == 3);
    CHECK(known.confidence > count.ahead(place(3, 2), quarter).confidence);
}

TEST_CASE("a rhythm that comes back says how long its strokes will be")
{
    BarCount count;
    for (const int bar : {1, 2})
        for (const double beat : {1.0, 3.5}) count.stroke_began(place(bar, beat), Direction::down, false);
    CHECK(!count.usual_length(place(3, 3.5))); // heard once to its end
    count.stroke_began(place(3, 1), Direction::down, false);
    REQUIRE(count.usual_length(place(3, 1)));
    CHECK(count.usual_length(place(3, 1))->value == doctest::Approx(1.25));
    CHECK(count.usual_length(place(3, 3.5))->value == doctest::Approx(0.75));
    // Another rhythm: nothing is known until it comes back.
    count.stroke_began(place(3, 2), Direction::up, false);
    CHECK(!count.usual_length(place(4, 1)));
}

TEST_CASE("a group is remembered by its place in the bar")
{
    BarCount count;
    count.stroke_began(place(1, 2), Direction::up, true);
    count.stroke_began(place(1, 3), Direction::down, false);
    CHECK((count.last_time(place(5, 2)) == Direction::up));
    CHECK(!count.last_time(place(5, 3)));
}

// Found by tests/fuzz/playing.cpp: the quotient was infinite, and no whole number.
TEST_CASE("strokes that are expected to last no time say nothing of how many lead to the bar")
{
    BarCount count;
    CHECK(count.ahead(place(1, 1), Seconds{0}).confidence == 0);
    CHECK(count.ahead(place(1, 3), quarter).confidence > 0);
}
