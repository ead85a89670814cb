// Each technique through the engine: how it is chosen, its length, its place, its limits.  Common practice, no source, unless named.
#include "player/scene.hpp"

#include <algorithm>
#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

// The last of eight even notes whose keys are held nearly to the next.
double length_at(Technique technique, int interval_ms)
{
    Scene s;
    s.choose(technique);
    for (int i = 0; i < 8; ++i) s.hands.note(10 + i * interval_ms, 69, interval_ms * 95 / 100, 70);
    s.hands.until(20'000);
    return lengths(s.memory, 69).back();
}

// Greatest force over the first part of a note of that technique, over its mean.
double bite(Technique technique)
{
    Scene s;
    s.choose(technique);
    s.hands.down(10, 69, 70);
    double most = 0, sum = 0;
    int seen = 0;
    for (int ms = 10; ms <= 360; ms += 5) {
        s.hands.until(ms);
        const double force = s.now().force.value;
        if (ms <= 80) most = std::max(most, force);
        if (ms < 250) continue;
        sum += force;
        ++seen;
    }
    return most / (sum / seen);
}

PlayerConfig without(Technique technique, Technique fallback)
{
    PlayerConfig config = violin_config();
    TechniqueWay& way = config.target.techniques[static_cast<std::size_t>(technique)];
    way.present = false;
    way.fallback = fallback;
    return config;
}

} // namespace

TEST_CASE("staccato shortens with the tempo, and with a key that comes up earlier")
{
    double before = 1e9;
    for (const int interval : {800, 600, 400, 250, 150}) {
        CAPTURE(interval);
        const double length = length_at(Technique::staccato, interval);
        CHECK(length < before);
        CHECK(length > 0.35 * interval);
        CHECK(length < 0.65 * interval);
        before = length;
    }
    Scene s;
    s.choose(Technique::staccato);
    for (int i = 0; i < 6; ++i) s.hands.note(10 + i * 600, 69, 90, 70);
    s.hands.until(9'000);
    CHECK(lengths(s.memory, 69).back() == doctest::Approx(90));
}

TEST_CASE("before any note tells the tempo, the told one does")
{
    const auto first = [](std::uint32_t microseconds) {
        Scene s;
        s.hands.input(tempo_input(at_ms(0), microseconds));
        s.choose(Technique::staccato);
        s.hands.note(10, 69, 3'000, 70);
        s.hands.until(9'000);
        return lengths(s.memory, 69).front();
    };
    CHECK(first(400'000) < first(700'000));
}

TEST_CASE("marcato is longer than staccato, leaves a space by relaxing, is not lost under a long key, and bites harder than detache")
{
    for (const int interval : {300, 500, 800}) {
        CAPTURE(interval);
        CHECK(length_at(Technique::marcato, interval) > 1.15 * length_at(Technique::staccato, interval));
        CHECK(length_at(Technique::martele, interval) < 0.7 * interval);
        const int ms = 10 + 7 * interval;
        Scene held;
        held.choose(Technique::marcato);
        for (int i = 0; i < 7; ++i) held.hands.note(10 + i * interval, 69, interval * 95 / 100, 90);
        held.hands.down(ms, 69, 90);
        held.hands.until(ms + interval / 2);
        const double full = held.now().force.value;
        held.hands.until(ms + interval * 3 / 2);
        CHECK(held.now().sounding_notes == 1);
        CHECK(held.now().force.value < 0.7 * full);
    }
    CHECK(bite(Technique::marcato) > 1.2 * bite(Technique::detache));
    CHECK(bite(Technique::martele) > 1.2 * bite(Technique::detache));
}

TEST_CASE("staccato keys that overlap are one bow with a stop between the notes")
{
    Scene s;
    s.choose(Technique::staccato);
    for (int i = 0; i < 6; ++i) {
        s.hands.down(10 + i * 300, 69 + i, 60);
        if (i > 0) s.hands.up(10 + i * 300 + 40, 68 + i);
    }
    s.hands.until(220);
    CHECK(s.now().sounding_notes <= 1);
    s.hands.up(2'000, 74);
    s.hands.until(4'000);
    const auto strokes = s.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 6);
    for (std::size_t i = 1; i < strokes.size(); ++i) {
        CHECK(strokes[i].direction == strokes[0].direction);
        CHECK(strokes[i].hooked);
        CHECK(strokes[i].hair_from.value * sign(strokes[0].direction) > strokes[i - 1].hair_from.value * sign(strokes[0].direction));
    }
    // Silence before each, once the tempo is heard: a stop, not a slur.
    for (int key = 70; key < 74; ++key) CHECK(lengths(s.memory, key).front() < 250);
}

TEST_CASE("up-bow staccato: the same-bow pedal and short keys, eight and more notes in one up-bow")
{
    Scene s;
    s.choose(Technique::staccato);
    s.hands.command(5, Command::next_up);
    for (int i = 0; i < 10; ++i) {
        s.hands.note(10 + i * 200, 69 + i, 80, 60);
        if (i == 0) s.hands.command(50, Command::same_bow_on);
    }
    s.hands.until(5'000);
    for (const Fact& f : s.of(FactKind::stroke_began)) CHECK((f.direction == Direction::up));
    CHECK(s.of(FactKind::warning).empty());
}

TEST_CASE("portato: one bow that nearly stands before each note")
{
    Scene s;
    s.choose(Technique::portato);
    s.hands.down(0, 69, 70);
    s.hands.until(600);
    const double before = s.now().speed.value;
    s.hands.down(600, 71, 70);
    s.hands.up(640, 69);
    s.hands.until(625);
    const double between_notes = s.now().speed.value;
    s.hands.until(1'000);
    CHECK(between_notes < 0.5 * before);
    CHECK(s.now().speed.value > 0.7 * before);
    s.hands.up(1'100, 71);
    s.hands.note(1'160, 72, 400, 70); // hardly any rest: still the same bow
    s.hands.note(2'200, 74, 400, 70); // a rest: a new one
    s.hands.until(4'000);
    const auto strokes = s.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 3);
    CHECK(strokes[1].direction == strokes[0].direction);
    CHECK(strokes[2].direction != strokes[1].direction);
}

TEST_CASE("hooked: pairs in one bow, in dotted, compound and even figures, with the bow stopped between")
{
    struct Row {
        const char* why;
        int long_ms, short_ms;
    };
    constexpr Row rows[] = {{"dotted", 600, 200}, {"six-eight", 400, 200}, {"even", 400, 400}};
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Scene s;
        s.choose(Technique::hooked);
        int at = 10;
        for (int i = 0; i < 8; ++i) {
            const int length = i % 2 == 0 ? r.long_ms : r.short_ms;
            s.hands.note(at, 69, length * 3 / 4, 70);
            at += length;
        }
        s.hands.until(10'000);
        const auto strokes = s.of(FactKind::stroke_began);
        REQUIRE(strokes.size() == 8);
        for (std::size_t i = 0; i < 8; i += 2) {
            CHECK(strokes[i + 1].hooked);
            CHECK(strokes[i + 1].direction == strokes[i].direction);
            if (i > 0) CHECK(strokes[i].direction != strokes[i - 1].direction);
        }
    }
}

TEST_CASE("heavy spiccato exists near the frog, loud and not quick, and light spiccato is nearer the middle")
{
    const auto place = [](int velocity) {
        Scene s;
        s.choose(Technique::spiccato);
        for (int i = 0; i < 6; ++i) s.hands.note(10 + i * 300, 57, 100, velocity);
        s.hands.until(4'000);
        CHECK((s.of(FactKind::note_began).back().technique == Technique::spiccato));
        CHECK(s.warned(Warning::off_string_too_loud) == 0);
        return s.of(FactKind::stroke_began)[0].hair_from.value;
    };
    CHECK(place(125) < 0.2);
    CHECK(place(50) > 0.2);
}

TEST_CASE("the contact point has zones with hysteresis, by controller, key or program change")
{
    PlayerConfig config = violin_config();
    config.controls.keys[25] = {ActionKind::contact_zone, {}, ContactZone::sul_tasto};
    config.controls.programs[7] = {ActionKind::contact_zone, {}, ContactZone::sul_ponticello};
    Scene s(config);
    s.hands.controller(0, 74, 104);
    CHECK(s.now().zone == ContactZone::sul_ponticello);
    s.hands.controller(10, 74, 93); // a little back: still there
    CHECK(s.now().zone == ContactZone::sul_ponticello);
    s.hands.controller(20, 74, 80);
    CHECK(s.now().zone == ContactZone::ordinary);
    s.hands.note(30, 25, 20);
    CHECK(s.now().zone == ContactZone::sul_tasto);
    s.hands.down(100, 69);
    s.hands.until(600);
    const double tasto = s.now().beta.value;
    s.hands.input(midi_input(at_ms(700), Source{0}, program_change(Channel{}, Midi7::nearest(7))));
    CHECK(s.now().zone == ContactZone::sul_ponticello);
    s.hands.until(1'200);
    // Sul ponticello below about 1/25, sul tasto 1/5 and more (orchestration handbooks name the places; numbers from memory).
    CHECK(s.now().beta.value < 1 / 24.0);
    CHECK(tasto > 1 / 6.0);
}

TEST_CASE("a program change chooses a technique, and never reaches the target")
{
    PlayerConfig config = violin_config();
    config.controls.programs[40] = {ActionKind::select_technique, Technique::col_legno_tratto, {}};
    Scene s(config);
    for (const int program : {3, 40})
        s.hands.input(midi_input(at_ms(program), Source{0}, program_change(Channel{}, Midi7::nearest(program))));
    s.hands.note(100, 69, 300);
    s.hands.until(1'000);
    CHECK((s.of(FactKind::note_began)[0].technique == Technique::col_legno_tratto));
    for (const Sent& m : s.memory.sent) CHECK(m.message.kind() != MessageKind::program_change);
}

TEST_CASE("flautando: light, quick, over the fingerboard")
{
    const auto motion = [](Technique t) {
        Scene s;
        s.choose(t);
        s.hands.down(10, 62, 60);
        s.hands.until(600);
        return s.now();
    };
    const Snapshot plain = motion(Technique::detache);
    const Snapshot flautando = motion(Technique::flautando);
    CHECK(flautando.force < plain.force * 0.6);
    CHECK(flautando.speed > plain.speed * 1.2);
    CHECK(flautando.beta > plain.beta * 1.3);
}

TEST_CASE("col legno tratto is very soft, battuto is short, each warns of the wood, and turning the bow takes a moment")
{
    const auto sent_loudness = [](Technique t) {
        Scene s(without(t, Technique::detache));
        s.choose(t);
        s.hands.note(10, 69, 400, 90);
        s.hands.until(2'000);
        int most = 0;
        for (const Sent& m : s.memory.sent)
            if (m.message.kind() == MessageKind::control_change && m.message.first().get() == 20)
                most = std::max<int>(most, m.message.second().get());
        return most;
    };
    CHECK(sent_loudness(Technique::col_legno_tratto) < sent_loudness(Technique::portato) / 2);
    CHECK(length_at(Technique::col_legno_battuto, 300) < 100);

    for (const bool rest : {true, false}) {
        CAPTURE(rest);
        Scene s;
        s.choose(Technique::detache);
        s.hands.note(10, 69, 400);
        s.choose(Technique::col_legno_battuto, 450);
        for (int i = 0; i < 4; ++i) s.hands.note((rest ? 1'200 : 480) + i * 250, 69, 60);
        s.hands.until(5'000);
        CHECK(s.warned(Warning::col_legno) == 1);
        CHECK(s.warned(Warning::change_too_quick) == (rest ? 0 : 1));
    }
}

TEST_CASE("a mute takes a moment to set, and less to take off")
{
    PlayerConfig config = violin_config();
    config.controls.keys[25] = {ActionKind::mute, {}, {}};
    for (const bool in_time : {true, false}) {
        CAPTURE(in_time);
        Scene s(config);
        s.hands.note(10, 69, 400);
        s.hands.note(450, 25, 20);
        CHECK(s.now().muted);
        s.hands.note(in_time ? 2'600 : 900, 69, 400);
        s.hands.note(in_time ? 3'050 : 1'350, 25, 20);
        CHECK(!s.now().muted);
        s.hands.note(in_time ? 4'200 : 1'800, 69, 400);
        s.hands.until(6'000);
        CHECK(s.warned(Warning::change_too_quick) == (in_time ? 0 : 2));
    }
}

TEST_CASE("down bows on demand: every stroke down at the frog, each with a retake, and a word where the rest is too short for one")
{
    PlayerConfig config = violin_config();
    config.controls.keys[25] = {ActionKind::down_bows, {}, {}};
    for (const bool time : {true, false}) {
        CAPTURE(time);
        Scene s(config);
        s.hands.down(0, 25);
        for (int i = 0; i < 6; ++i) s.hands.note(10 + i * 500, 69, time ? 200 : 495, 80);
        s.hands.up(3'200, 25);
        s.hands.note(3'300, 69, 200, 80);
        s.hands.until(6'000);
        const auto strokes = s.of(FactKind::stroke_began);
        REQUIRE(strokes.size() >= 7);
        if (time) {
            for (std::size_t i = 1; i < 6; ++i) {
                CHECK((strokes[i].direction == Direction::down));
                CHECK(strokes[i].retake);
                CHECK(strokes[i].hair_from.value < 0.3);
            }
        }
        CHECK((s.warned(Warning::retake_has_no_time) > 0) == !time);
    }
}

TEST_CASE("a tremolo tires the arm, sooner when loud")
{
    const auto warned_after = [](int velocity) {
        Scene s;
        s.choose(Technique::tremolo);
        s.hands.down(10, 69, velocity);
        s.hands.until(70'000);
        const auto warnings = s.of(FactKind::warning);
        int told = 0;
        double at = 0;
        for (const Fact& f : warnings) {
            if (f.warning != Warning::tremolo_too_long) continue;
            ++told;
            at = f.number;
        }
        CHECK(told == 1);
        return at;
    };
    CHECK(warned_after(110) < warned_after(30));
    Scene rests;
    rests.choose(Technique::tremolo);
    for (int i = 0; i < 8; ++i) rests.hands.note(10 + i * 10'000, 69, 8'000, 60);
    rests.hands.until(90'000);
    CHECK(rests.warned(Warning::tremolo_too_long) == 0);
}

TEST_CASE("a thrown bow comes to rest: the note ends, and a key held on is told of")
{
    Scene s(without(Technique::ricochet, Technique::detache));
    s.choose(Technique::ricochet);
    s.hands.down(10, 69, 80);
    s.hands.until(1'000);
    CHECK(s.now().sounding_notes == 0);
    s.hands.up(2'500, 69);
    s.hands.note(4'000, 69, 500, 80);
    s.hands.until(6'000);
    CHECK(s.warned(Warning::ricochet_too_long) == 1);
}
