// Rule for all: MIDI 1.0 Detailed Specification: 24 timing clocks a quarter note; the clock after start is the song's first moment;
// a song position counts sixteenths, six clocks each; continue goes on from there.
#include "phrase/beat_keeper.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

constexpr Source box{0}, other_box{1};
constexpr Duration at_120{20'833'333}; // 60 s / 120 / 24

Time later(Time t, std::int64_t ms) { return t + milliseconds(ms); }

// Sends so many clocks and answers when the next one is due.
Time clocks(BeatKeeper& k, Time from, int count, Duration apart, Source source = box)
{
    for (int i = 0; i < count; ++i) k.clock(from + apart * i, source);
    return from + apart * count;
}

} // namespace

TEST_CASE("a clock tells the beat, and with a meter the bar")
{
    BeatKeeper k(0, {3, 2});
    k.clock_start(Time{}, box);
    CHECK(k.place(Time{}).nearest == 1);
    const Time next = clocks(k, later(Time{}, 5), 24 * 4, at_120); // four quarters of 3/4
    k.clock(next, box);
    const BeatPlace p = k.place(next);
    CHECK((p.source == BeatSource::clock));
    CHECK(p.bar == 2);
    CHECK(p.nearest == 2);
    CHECK(p.beat_length.value == doctest::Approx(0.5).epsilon(1e-6));
    CHECK(p.confidence > 0.8);
    CHECK(k.quarter(next).value == doctest::Approx(0.5).epsilon(1e-6));
}

TEST_CASE("nobody told the meter: the beat is surer than the bar")
{
    BeatKeeper k(0, {});
    k.clock_start(Time{}, box);
    const Time next = clocks(k, Time{}, 24 * 5, at_120);
    const BeatPlace p = k.place(next);
    CHECK(p.bar == 2); // of 4/4
    CHECK(p.nearest == 2);
    CHECK(p.beat_confidence > 0.9);
    CHECK(p.confidence < 0.7);
}

TEST_CASE("a song position is a place in the song: an upbeat is one")
{
    BeatKeeper k(0, {4, 2});
    k.song_position(box, 12); // the fourth quarter of bar 1
    k.clock_continue(Time{}, box);
    const Time next = clocks(k, Time{}, 24, at_120);
    CHECK(k.place(next).bar == 2);
    CHECK(k.place(next).weight == 1);
    BeatKeeper again(0, {4, 2});
    again.song_position(box, 12);
    again.clock_continue(Time{}, box);
    again.clock(Time{}, box);
    CHECK(again.place(Time{}).nearest == 4);
    CHECK(again.place(Time{}).weight < 0.75);
    CHECK(again.place(Time{}).bar == 1);
}

TEST_CASE("continue goes on where stop was, and start is bar 1 again")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    Time t = clocks(k, Time{}, 24 * 6, at_120); // up to before the third quarter of bar 2
    k.clock_stop(box);
    CHECK(k.place(t).confidence < 0.5);
    t = clocks(k, t, 40, at_120); // many boxes send clocks while they stand
    k.clock_continue(t, box);
    k.clock(t, box);
    CHECK(k.place(t).bar == 2);
    CHECK(k.place(t).nearest == 3);
    k.clock_start(later(t, 10), box);
    k.clock(later(t, 20), box);
    CHECK(k.place(later(t, 20)).bar == 1);
    CHECK(k.place(later(t, 20)).nearest == 1);
}

TEST_CASE("clocks that come a little early or late do not shake the beat")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    std::uint32_t dice = 1;
    double worst = 0, worst_tempo = 0;
    for (int i = 0; i < 24 * 16; ++i) {
        dice = dice * 1664525U + 1013904223U;
        const Duration shake{static_cast<std::int64_t>(dice >> 16) * 4'000'000 / 65'536 - 2'000'000}; // up to 2 ms either way
        const Time due = Time{} + milliseconds(10) + at_120 * i;
        k.clock(due + shake, box);
        if (i < 48) continue;
        const BeatPlace p = k.place(due + milliseconds(3));
        double off = p.beat - 1 - (i % 96 + 0.144) / 24;
        if (off > 2) off -= 4; // just before a bar line
        worst = off > worst ? off : -off > worst ? -off : worst;
        const double tempo = p.beat_length.value / 0.5 - 1;
        worst_tempo = tempo > worst_tempo ? tempo : -tempo > worst_tempo ? -tempo : worst_tempo;
    }
    CHECK(worst < 0.005);      // 2.5 ms: the shake itself, not more
    CHECK(worst_tempo < 0.02); // one interval alone would be wrong by 0.2
}

TEST_CASE("a clock that is lost on the way costs no beat")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    Time t = clocks(k, Time{}, 60, at_120);
    t = clocks(k, t + at_120, 131, at_120); // one of 192 did not come
    CHECK(k.place(t).bar == 3);
    CHECK(k.place(t).nearest == 1);
    CHECK(k.place(t).beat == doctest::Approx(1).epsilon(1e-4));
}

TEST_CASE("half the tempo is no row of lost clocks")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    Time t = clocks(k, Time{}, 96, at_120);
    t = clocks(k, t, 96, at_120 * 2);
    const BeatPlace p = k.place(t);
    CHECK(p.bar == 3);
    CHECK(p.nearest == 1);
    CHECK(p.beat_length.value == doctest::Approx(1).epsilon(1e-3));
}

TEST_CASE("a sudden new tempo is followed within a quarter note")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    Time t = clocks(k, Time{}, 96, at_120);
    t = clocks(k, t, 25, {15'625'000}); // quarter = 160
    CHECK(k.quarter(t).value == doctest::Approx(0.375).epsilon(0.01));
}

TEST_CASE("clocks that fail to come are trusted less and less, then not at all")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    const Time t = clocks(k, Time{}, 96, at_120);
    double before = k.place(t).confidence;
    for (int ms = 200; ms <= 1'000; ms += 200) {
        const double now = k.place(later(t, ms)).confidence;
        CHECK(now < before);
        before = now;
    }
    CHECK(k.place(later(t, 1'100)).confidence == 0);
    CHECK(k.place(later(t, 600'000)).confidence == 0);
    BeatKeeper never_came(0, {4, 2}); // a start without clocks
    never_came.clock_start(Time{}, box);
    CHECK(never_came.place(later(Time{}, 5'000)).confidence == 0);
}

TEST_CASE("of two clocks the first that started is followed until it stops")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    Time t{};
    const auto both = [&](int count) {
        for (int i = 0; i < count; ++i, t = t + at_120) {
            k.clock(t, box);
            k.clock(t + Duration{7'000'000}, other_box);
        }
    };
    both(12);
    k.clock_start(t, other_box); // an eighth later
    both(84);
    CHECK(k.place(t).bar == 2);
    CHECK(k.place(t).nearest == 1);
    k.clock_stop(box);
    both(1);
    CHECK(k.place(t).beat == doctest::Approx(4 + 0.5 + 1.0 / 24 - 7.0 / 500).epsilon(0.01)); // bar 1 of the other box
}

TEST_CASE("clocks alone tell the tempo, and a tap tells where the bar is")
{
    BeatKeeper k(0, {4, 2});
    Time t = clocks(k, Time{}, 53, at_120);
    CHECK(k.place(t).confidence == 0);
    CHECK(k.quarter(t).value == doctest::Approx(0.5).epsilon(1e-6));
    k.tap_bar(t);
    t = clocks(k, t, 24 * 5, at_120);
    CHECK((k.place(t).source == BeatSource::clock));
    CHECK(k.place(t).nearest == 2);
    CHECK(k.place(t).confidence > 0.8);
}

TEST_CASE("a tapped bar line moves the bars of a clock that started elsewhere")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    Time t = clocks(k, Time{}, 24 * 3, at_120);
    k.tap_bar(t + milliseconds(30)); // by hand, a little late
    t = clocks(k, t, 24 * 4, at_120);
    CHECK(k.place(t).weight == 1);
    CHECK(k.place(t).nearest == 1);
}

// Found by tests/fuzz/playing.cpp, as a quotient of two zeros: a sequencer that was held up sends what it owes at once.
TEST_CASE("clocks of one instant are no tempo, and those that follow are one")
{
    BeatKeeper k(0, {4, 2});
    k.clock_start(Time{}, box);
    for (int i = 0; i < 30; ++i) k.clock(Time{}, box);
    CHECK(k.quarter(Time{}).value >= 0);
    const Time next = clocks(k, later(Time{}, 400), 24 * 6, at_120);
    CHECK(k.quarter(next).value == doctest::Approx(0.5).epsilon(1e-3));
}
