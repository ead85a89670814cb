#include "phrase/beat_keeper.hpp"
#include "player/random_playing.hpp"

#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

Time ms(std::int64_t n) { return Time{} + milliseconds(n); }

struct Played {
    std::int64_t ms;
    bool slurred;
    double accent;
};

// Our own dance in quarters of 600 ms: the bar's first note is a quarter, eighths follow; one slur holds all but the last beat.
std::vector<Played> dance(int beats, int bars, std::uint64_t seed)
{
    test::Dice dice(seed);
    std::vector<Played> notes;
    for (int bar = 0; bar < bars; ++bar) {
        for (int beat = 0; beat < beats; ++beat) {
            const std::int64_t at = (bar * beats + beat) * 600;
            const auto shaken = [&](std::int64_t t) { return t + dice.below(21) - 10 + 20; };
            notes.push_back({shaken(at), beat > 0 && beat < beats - 1, beat == 0 ? 1.2 : 1.0});
            if (beat == 0) continue;
            notes.push_back({shaken(at + 300), beat < beats - 1, 1.0});
        }
    }
    return notes;
}

void play(BeatFinder& f, const std::vector<Played>& notes, const auto& look)
{
    for (const Played& n : notes) {
        f.onset({ms(n.ms), n.slurred, Seconds{0}, n.accent, 60});
        look(n, f.place(ms(n.ms)));
    }
}

} // namespace

TEST_CASE("two taps tell a tempo, and each tap is a beat")
{
    BeatKeeper k(0, {});
    k.tap_beat(ms(0));
    CHECK(k.place(ms(250)).confidence == 0); // one tap tells no tempo
    k.tap_beat(ms(500));
    const BeatPlace p = k.place(ms(750));
    CHECK((p.source == BeatSource::tap));
    CHECK(p.beat_length.value == doctest::Approx(0.5));
    CHECK(p.beat - static_cast<int>(p.beat) == doctest::Approx(0.5));
    CHECK(p.beat_confidence > 0.8);
    CHECK(p.confidence < 0.3); // which beat of the bar it is nobody said
    CHECK(k.quarter(ms(750)).value == doctest::Approx(0.5));
}

TEST_CASE("the tap of a bar says which beat is the first, and two of them how many there are")
{
    BeatKeeper k(0, {});
    k.tap_bar(ms(0));
    k.tap_beat(ms(500));
    const double unsure = k.place(ms(510)).confidence;
    k.tap_beat(ms(1'000));
    k.tap_bar(ms(1'500));
    const BeatPlace p = k.place(ms(1'500 + 4 * 500));
    CHECK(p.bar == 3);
    CHECK(p.nearest == 2);
    CHECK(p.confidence > 0.8);
    CHECK(p.confidence > unsure);
}

TEST_CASE("taps before a configured meter's first bar are its upbeat")
{
    BeatKeeper k(0, {4, 2});
    k.tap_beat(ms(0));
    k.tap_bar(ms(500));
    const BeatPlace before = k.place(ms(0));
    CHECK(before.nearest == 4);
    CHECK(before.weight < 0.75);
    CHECK(k.place(ms(500)).weight == 1);
}

TEST_CASE("a switch that bounces is one tap")
{
    BeatKeeper k(0, {});
    for (const std::int64_t t : {0, 12, 500, 511, 1'000}) k.tap_beat(ms(t));
    CHECK(k.place(ms(1'000)).beat_length.value == doctest::Approx(0.5));
}

TEST_CASE("one tap is enough where the tempo is configured")
{
    BeatKeeper k(120, {4, 2});
    k.tap_bar(ms(1'000));
    CHECK(k.place(ms(2'000)).nearest == 3);
    CHECK(k.place(ms(2'000)).confidence > 0.8);
}

TEST_CASE("a tapped beat goes with the notes, and fades when nobody plays or they go elsewhere")
{
    BeatKeeper k(0, {4, 2});
    k.tap_bar(ms(0));
    k.tap_beat(ms(500));
    for (int i = 2; i < 60; ++i) k.onset({ms(i * 510), false, Seconds{0}, 1, 60}); // two in a hundred slower than tapped
    const BeatPlace p = k.place(ms(60 * 510));
    CHECK(p.nearest == 1);
    CHECK(p.weight == 1);
    BeatKeeper silent(0, {4, 2});
    silent.tap_bar(ms(0));
    silent.tap_beat(ms(500));
    CHECK(silent.place(ms(60'000)).confidence == 0);
}

TEST_CASE("a configured tempo and meter begin with the first note, as a guess")
{
    BeatKeeper k(120, {4, 2});
    CHECK(k.place(ms(1'000)).confidence == 0);
    k.onset({ms(1'000), false, Seconds{0}, 1, 60});
    const BeatPlace p = k.place(ms(3'000));
    CHECK((p.source == BeatSource::configuration));
    CHECK(p.bar == 2);
    CHECK(p.nearest == 1);
    CHECK(p.confidence > 0.3);
    CHECK(p.confidence < 0.5);
}

TEST_CASE("a file is believed before a clock, a clock before a tap")
{
    BeatKeeper k(0, {4, 2});
    k.tap_bar(ms(0));
    k.tap_beat(ms(400));
    CHECK((k.place(ms(500)).source == BeatSource::tap));
    k.clock_start(ms(500), {0});
    k.clock(ms(501), {0});
    k.clock(ms(522), {0});
    CHECK((k.place(ms(530)).source == BeatSource::clock));
    k.tempo(ms(540), Seconds{0.5});
    k.meter(ms(540), {3, 2});
    CHECK((k.place(ms(550)).source == BeatSource::file));
    CHECK(k.place(ms(550)).confidence == 1);
}

TEST_CASE("when nothing is known nothing is claimed, not even of the first note")
{
    BeatKeeper k(0, {});
    CHECK(k.place(ms(500)).confidence == 0);
    CHECK((k.place(ms(500)).source == BeatSource::none));
    k.onset({ms(1'000), false, Seconds{0}, 1, 60});
    CHECK(k.place(ms(1'000)).confidence == 0);
    CHECK(k.quarter(ms(1'000)).value == 0);
}

TEST_CASE("beat and bar of a plain dance are found")
{
    for (const int beats : {2, 3, 4}) {
        int claims = 0, right_beats = 0, right_bars = 0, notes = 0;
        for (std::uint64_t seed = 0; seed < 20; ++seed) {
            BeatFinder f;
            play(f, dance(beats, 48 / beats, seed), [&](const Played& n, const BeatPlace& p) {
                if (n.ms < 12 * 600) return; // it may listen that long
                ++notes;
                const double beat = static_cast<double>(n.ms - 20) / 600;
                const double off = beat - (p.beat - 1);
                const double beat_off = off - static_cast<double>(static_cast<std::int64_t>(off + 0.5));
                right_beats += p.beat_length > Seconds{0.57} && p.beat_length < Seconds{0.63} && beat_off < 0.15 && beat_off > -0.15;
                if (p.confidence < 0.5) return;
                ++claims;
                const double bar_off = off / beats - static_cast<double>(static_cast<std::int64_t>(off / beats + 0.5));
                right_bars += bar_off * beats < 0.15 && bar_off * beats > -0.15;
            });
        }
        CAPTURE(beats);
        CHECK(right_beats > notes * 9 / 10);
        CHECK(claims > notes * 6 / 10);
        CHECK(right_bars > claims * 8 / 10);
    }
}

TEST_CASE("notes without any beat are not believed to have one")
{
    double sum = 0;
    int notes = 0;
    for (std::uint64_t seed = 0; seed < 50; ++seed) {
        test::Dice dice(seed);
        BeatFinder f;
        std::int64_t t = 0;
        for (int i = 0; i < 60; ++i) {
            t += 150 + dice.below(800);
            f.onset({ms(t), dice.one_in(2), Seconds{0}, 0.8 + dice.below(40) / 100.0, 60 + dice.below(20)});
            if (i < 10) continue;
            sum += f.place(ms(t)).confidence;
            ++notes;
        }
    }
    CHECK(sum / notes < 0.35);
}

TEST_CASE("a long silence forgets the beat")
{
    BeatFinder f;
    play(f, dance(3, 12, 1), [](const Played&, const BeatPlace&) {});
    CHECK(f.place(ms(36 * 600)).beat_confidence > 0.5);
    CHECK(f.place(ms(36 * 600 + 8'000)).beat_confidence == 0);
    f.onset({ms(36 * 600 + 9'000), false, Seconds{8}, 1, 60});
    CHECK(f.place(ms(36 * 600 + 9'000)).confidence == 0);
}

TEST_CASE("whatever is played, places stay in their bounds")
{
    for (std::uint64_t seed = 0; seed < 200; ++seed) {
        test::Dice dice(seed);
        BeatKeeper k(dice.one_in(2) ? 0 : 30 + dice.below(300), {static_cast<std::uint8_t>(dice.below(8)), 2});
        Time t{};
        for (int i = 0; i < 300; ++i) {
            if (!dice.one_in(4)) t = t + milliseconds(dice.one_in(50) ? dice.below(20'000) : dice.below(400));
            switch (dice.below(8)) {
            case 0:
                k.tap_beat(t);
                break;
            case 1:
                k.tap_bar(t);
                break;
            case 2:
                k.clock(t, {static_cast<std::uint8_t>(dice.below(6))});
                break;
            case 3:
                if (dice.one_in(4)) k.clock_start(t, {0});
                break;
            default:
                k.onset({t, dice.one_in(2), Seconds{0}, 1, 60});
                break;
            }
            const BeatPlace p = k.place(t);
            const bool sane = p.confidence >= 0 && p.confidence <= 1 && p.beat_confidence >= p.confidence && p.beat_confidence <= 1 &&
                              p.weight >= 0 && p.weight <= 1 && p.beat >= 0 && p.beat < 1e6;
            CHECK(sane);
            CHECK(((p.source == BeatSource::none) == !(p.beat_length > Seconds{0})));
        }
    }
}
