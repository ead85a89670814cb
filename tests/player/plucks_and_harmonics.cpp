// Plucked notes and chords, and harmonics, through the engine.  Common practice, no source, unless named.
#include "player/scene.hpp"

#include "base/arithmetic.hpp"
#include "bow/bow.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Pluck {
    std::int64_t ms;
    int key;
    bool operator==(const Pluck&) const = default;
};

std::vector<Pluck> plucks(const Memory& memory)
{
    std::vector<Pluck> found;
    for (const Sent& s : memory.sent)
        if (s.message.is_note_on() && s.message.first().get() >= 50) found.push_back({s.at.ns / 1'000'000, s.message.first().get()});
    return found;
}

std::vector<int> keys_of(const std::vector<Pluck>& all)
{
    std::vector<int> keys;
    for (const Pluck& p : all) keys.push_back(p.key);
    return keys;
}

} // namespace

TEST_CASE("from bow to finger and back takes time, the way back more, and the left hand plucks without any")
{
    struct Row {
        const char* why;
        Technique from, to;
        int rest_ms, warnings;
    };
    constexpr Row rows[] = {
        {"to the finger, in time", Technique::detache, Technique::pizzicato, 350, 0},
        {"to the finger, at once", Technique::detache, Technique::pizzicato, 100, 1},
        {"back to the bow takes longer", Technique::pizzicato, Technique::detache, 350, 1},
        {"back to the bow, in time", Technique::pizzicato, Technique::detache, 500, 0},
        {"the left hand", Technique::detache, Technique::left_hand_pizzicato, 20, 0},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Scene s;
        s.choose(r.from);
        s.hands.note(10, 69, 5, 70); // plucked or bowed: the hand is free at 15 ms at the latest
        s.choose(r.to, 16);
        s.hands.note(15 + r.rest_ms, 76, 100, 70);
        s.hands.until(3'000);
        CHECK(s.warned(Warning::change_too_quick) == r.warnings);
        CHECK((s.of(FactKind::note_began).back().technique == r.to));
    }
}

TEST_CASE("a plucked chord is raked from the lowest string up, slower when soft, and the first key sounds at once")
{
    const auto chord = [](int velocity) {
        Scene s;
        s.choose(Technique::pizzicato);
        const int keys[] = {55, 76, 62, 69}; // the hand lets the upper note come second
        for (int i = 0; i < 4; ++i) s.hands.down(100 + i, keys[i], velocity);
        for (int i = 0; i < 4; ++i) s.hands.up(900 + i, keys[i]);
        s.hands.until(2'000);
        return plucks(s.memory);
    };
    const auto soft = chord(30);
    const auto loud = chord(120);
    CHECK((keys_of(soft) == std::vector{55, 62, 69, 76}));
    CHECK(soft.front().ms == 100);
    CHECK(soft.back().ms - soft.front().ms > loud.back().ms - loud.front().ms + 40);
    for (std::size_t i = 1; i < loud.size(); ++i) CHECK(loud[i].ms > loud[i - 1].ms);
}

TEST_CASE("a chord asked up is raked from the highest string down, and quick chords are strummed to and fro")
{
    PlayerConfig config = violin_config();
    config.chord_hold = Seconds{0.02}; // all its notes are known
    Scene s(config);
    s.choose(Technique::pizzicato);
    s.hands.command(5, Command::next_up);
    const auto chord = [&](int ms) {
        for (const int key : {55, 62, 69}) s.hands.down(ms, key, 90);
        for (const int key : {55, 62, 69}) s.hands.up(ms + 150, key);
    };
    chord(100);
    chord(1'500); // after a while: from below, as ever
    chord(1'800);
    chord(2'100);
    s.hands.until(4'000);
    CHECK((keys_of(plucks(s.memory)) == std::vector{69, 62, 55, 55, 62, 69, 69, 62, 55, 55, 62, 69}));
}

TEST_CASE("a raked note whose key is up before the finger is there is plucked all the same, and ends")
{
    Scene s;
    s.choose(Technique::pizzicato);
    for (const int key : {55, 62, 69}) s.hands.down(100, key, 20);
    for (const int key : {55, 62, 69}) s.hands.up(110, key);
    s.hands.until(2'000);
    CHECK(plucks(s.memory).size() == 3);
    for (const int key : {62, 69}) CHECK(lengths(s.memory, key).front() >= 50);
    CHECK(s.now().sounding_notes == 0);
    CHECK(s.of(FactKind::note_ended).size() == 3);
}

TEST_CASE("panic in the middle of a rake: what has not sounded never does")
{
    Scene s;
    s.choose(Technique::pizzicato);
    for (const int key : {55, 62, 69}) s.hands.down(100, key, 20);
    s.hands.command(110, Command::panic);
    s.hands.until(2'000);
    CHECK(plucks(s.memory).size() == 1);
}

TEST_CASE("fingers have a fastest pizzicato, slower on thick strings, and say so once")
{
    const auto warned = [](int interval_ms) {
        Scene s;
        s.choose(Technique::pizzicato);
        for (int i = 0; i < 12; ++i) s.hands.note(10 + i * interval_ms, 69 + i % 2, interval_ms / 2, 60);
        s.hands.until(9'000);
        return s.warned(Warning::pizzicato_too_fast);
    };
    CHECK(warned(170) == 0); // sixteenths at 90 a minute: the rule of thumb of orchestration handouts
    CHECK(warned(80) == 1);
    Instrument bass = violin();
    bass.string_length = Metres{1.05};
    // "On the double basses it must always be much slower than on the violins" (N. Rimsky-Korsakov, Principles of Orchestration).
    CHECK(fastest_pluck(bass, Technique::pizzicato) < fastest_pluck(violin(), Technique::pizzicato) * 0.75);
}

TEST_CASE("natural harmonics exist at the nodes of the strings, and others are touched above a stopped note or not there at all")
{
    struct Row {
        int key;
        Technique asked, played;
        int string; // from the lowest
    };
    constexpr Row rows[] = {
        {67, Technique::harmonic, Technique::harmonic, 0},            // an octave above the open G
        {81, Technique::harmonic, Technique::harmonic, 2},            // the A string's octave, easier than the D string's twelfth
        {93, Technique::harmonic, Technique::harmonic, 2},            // two octaves above the open A
        {90, Technique::harmonic, Technique::harmonic, 1},            // D's fifth partial
        {87, Technique::harmonic, Technique::artificial_harmonic, 1}, // no node: a fourth above the D# of the D string
        {81, Technique::artificial_harmonic, Technique::artificial_harmonic, 0},
        {57, Technique::harmonic, Technique::detache, 0}, // too low for any
    };
    for (const Row& r : rows) {
        CAPTURE(r.key);
        Scene s;
        s.choose(r.asked);
        s.hands.note(10, r.key, 400);
        s.hands.until(2'000);
        const Fact note = s.of(FactKind::note_began)[0];
        CHECK((note.technique == r.played));
        CHECK(note.pitch == r.key); // what is played is what sounds
        CHECK(note.string == r.string);
        CHECK(s.warned(Warning::no_such_harmonic) == (r.played == Technique::detache));
    }
    // The partials' intervals are arithmetic: within 16 cents of equal temperament, the seventh is not.
    for (const int n : {2, 3, 4, 5, 6, 8}) {
        const double semitones = 12 * log_of_two(n);
        CHECK(natural_harmonic(violin(), Midi7::nearest(55 + nearest(semitones))).has_value());
        CHECK(std::abs(semitones - static_cast<double>(nearest(semitones))) < 0.16);
    }
}
