// The person's own controllers, and the velocities of the outgoing notes.
#include "target/target.hpp"

#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }
constexpr Channel ch(int i) { return *Channel::from(i); }
constexpr Controller cc(int number) { return {Channel{}, ControllerKind::control_change, n(number)}; }

// Legato sounds on another channel than the rest.
TargetSpec two_channels()
{
    TargetSpec spec;
    spec.techniques[static_cast<std::size_t>(Technique::detache)].present = true;
    TechniqueWay& legato = spec.techniques[static_cast<std::size_t>(Technique::legato)];
    legato.present = true;
    legato.down.channel = legato.up.channel = ch(1);
    return spec;
}

std::vector<Message> passed(Target& t, const Message& m)
{
    Bundle b;
    t.pass(b, m);
    return {b.begin(), b.end()};
}

std::vector<Message> switched(Target& t, Technique technique)
{
    Bundle b;
    t.add_switch(b, t.voice(technique));
    return {b.begin(), b.end()};
}

} // namespace

TEST_CASE("what the file drops is dropped, what it maps arrives as the other controller")
{
    TargetSpec spec;
    spec.pass.push_back({cc(2), std::nullopt});
    spec.pass.push_back({cc(1), cc(21)});
    spec.pass.push_back({{Channel{}, ControllerKind::channel_pressure, {}}, cc(74)});
    spec.pass.push_back({{Channel{}, ControllerKind::pitch_bend, {}}, cc(25)});
    Target t(spec);
    CHECK(passed(t, control_change({}, n(2), n(9))).empty());
    CHECK((passed(t, control_change({}, n(1), n(9))) == std::vector{control_change({}, n(21), n(9))}));
    CHECK((passed(t, channel_pressure({}, n(9))) == std::vector{control_change({}, n(74), n(9))}));
    CHECK((passed(t, pitch_bend({}, Midi14::nearest(9 * 128 + 3))) == std::vector{control_change({}, n(25), n(9))}));
    CHECK((passed(t, control_change({}, n(3), n(9))) == std::vector{control_change({}, n(3), n(9))}));
}

TEST_CASE("nobody moves a controller that selects a sound")
{
    TargetSpec spec;
    TechniqueWay& way = spec.techniques[0];
    way.present = true;
    way.down.steps.push_back({SwitchKind::controller, n(102), n(3), {}});
    way.up = way.down;
    Target t(spec);
    CHECK(passed(t, control_change({}, n(102), n(9))).empty());
}

TEST_CASE("the person's controllers go where the notes sound, and come along to another channel once")
{
    Target t(two_channels());
    switched(t, Technique::detache);
    CHECK((passed(t, control_change({}, n(1), n(40))) == std::vector{control_change({}, n(1), n(40))}));
    CHECK((switched(t, Technique::legato) == std::vector{control_change(ch(1), n(1), n(40))}));
    CHECK(switched(t, Technique::detache).empty());
    CHECK(switched(t, Technique::legato).empty());
    CHECK((passed(t, control_change({}, n(1), n(41))) == std::vector{control_change(ch(1), n(1), n(41))}));
    CHECK((switched(t, Technique::detache) == std::vector{control_change({}, n(1), n(41))}));
}

TEST_CASE("a pedal is let up on every channel where it was pressed (MIDI 1.0: sustain belongs to a channel)")
{
    Target t(two_channels());
    passed(t, control_change({}, n(64), n(127)));
    switched(t, Technique::legato);
    const auto up = passed(t, control_change({}, n(64), n(0)));
    REQUIRE(up.size() == 2);
    CHECK((up[0] == control_change(ch(1), n(64), n(0))));
    CHECK((up[1] == control_change({}, n(64), n(0))));
}

TEST_CASE("silence puts up every pedal and centres the bend, on the channels that have them, and touches no loudness")
{
    TargetSpec spec = two_channels();
    CurveWay bend;
    bend.controller = {Channel{}, ControllerKind::pitch_bend, {}};
    bend.high = 16383;
    spec.curves.push_back(bend);
    CurveWay loudness;
    loudness.controller = cc(11);
    spec.curves.push_back(loudness);
    Target t(spec);
    switched(t, Technique::detache);
    for (const int pedal : {64, 66, 67, 69}) passed(t, control_change({}, n(pedal), n(127)));
    BowState state;
    state.loudness = Loudness{0.9};
    Bundle values;
    t.add_first_values(values, Channel{}, state, Begins::anew);
    Bundle silence;
    t.add_silence(silence, Channel{}, true);
    std::vector<Message> expected;
    for (const int pedal : {64, 66, 67, 69}) expected.push_back(control_change({}, n(pedal), n(0)));
    expected.push_back(pitch_bend({}, Midi14::nearest(8192)));
    expected.push_back(control_change({}, n(123), n(0)));
    expected.push_back(control_change({}, n(120), n(0)));
    CHECK((std::vector<Message>{silence.begin(), silence.end()} == expected));
    Bundle other;
    t.add_silence(other, ch(1), false);
    CHECK(other.size() == 1);
}

TEST_CASE("after a panic the vibrato controller comes along again, the pedal does not")
{
    Target t(two_channels());
    passed(t, control_change({}, n(1), n(40)));
    passed(t, control_change({}, n(64), n(127)));
    for (const Channel channel : t.channels()) {
        Bundle b;
        t.add_silence(b, channel, true);
    }
    t.forget();
    CHECK((switched(t, Technique::detache) == std::vector{control_change({}, n(1), n(40))}));
}

TEST_CASE("a slurred note is sent the harder the quicker the change, and a leap has to be quicker")
{
    TechniqueWay way;
    way.present = true;
    way.velocity = VelocityMeaning::slur_speed;
    const auto velocity = [&](double seconds, int leap) {
        NoteStart s;
        s.connected = true;
        s.since_last = Seconds{seconds};
        s.leap = leap;
        return int{velocity_of(&way, Technique::legato, s).get()};
    };
    CHECK(velocity(0.6, 0) == 1);
    CHECK(velocity(5, 2) == 1);
    CHECK(velocity(0.06, 0) == 127);
    CHECK(velocity(0.01, 0) == 127);
    // Half-way in ratio: sqrt(0.06 * 0.6).
    CHECK(velocity(0.18974, 0) == 64);
    CHECK(velocity(2 * 0.18974, 12) == 64);
    CHECK(velocity(2 * 0.18974, -12) == 64);
    for (double s = 0.05; s < 0.7; s += 0.01) CHECK(velocity(s + 0.01, 2) <= velocity(s, 2));
    NoteStart apart;
    apart.played = n(3);
    const int attack = velocity_of(&way, Technique::detache, apart).get();
    way.velocity = VelocityMeaning::attack;
    CHECK(velocity_of(&way, Technique::detache, apart).get() == attack); // a note that is not slurred has its attack
}

TEST_CASE("velocities keep to the range the target gives, and one that sounds again is softer")
{
    TechniqueWay way;
    way.present = true;
    way.velocity_low = n(30);
    way.velocity_high = n(100);
    NoteStart s;
    for (const VelocityMeaning meaning :
         {VelocityMeaning::as_played, VelocityMeaning::loudness, VelocityMeaning::attack, VelocityMeaning::slur_speed})
        for (const double accent : {0.1, 1.0, 9.0}) {
            way.velocity = meaning;
            s.accent = accent;
            for (int v = 1; v <= 127; ++v) {
                s.played = n(v);
                s.loudness = Loudness{v / 127.0};
                s.again = false;
                const int loud = velocity_of(&way, Technique::marcato, s).get();
                CHECK(loud >= 30);
                CHECK(loud <= 100);
                s.again = true;
                const int soft = velocity_of(&way, Technique::marcato, s).get();
                CHECK(soft >= 30);
                CHECK(soft - 30 <= (loud - 30) / 2 + 1);
            }
        }
    way.velocity = VelocityMeaning::as_played;
    s.again = false;
    s.played = n(1);
    CHECK(velocity_of(&way, Technique::detache, s) == n(30));
    s.played = n(127);
    CHECK(velocity_of(&way, Technique::detache, s) == n(100));
}

// Common practice, no source: marcato and martele bite harder than a plain stroke, a slurred note less.
TEST_CASE("attack says how hard a technique bites")
{
    TechniqueWay way;
    way.present = true;
    way.velocity = VelocityMeaning::attack;
    const auto bite = [&](Technique t) { return int{velocity_of(&way, t, {}).get()}; };
    CHECK(bite(Technique::legato) < bite(Technique::detache));
    CHECK(bite(Technique::detache) < bite(Technique::staccato));
    CHECK(bite(Technique::staccato) < bite(Technique::marcato));
}
