#include "player/fixture.hpp"
#include "target/target.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }

BowState state(double loudness, double speed, std::int64_t ms = 0)
{
    BowState s;
    s.at = at_ms(ms);
    s.loudness = Loudness{loudness};
    s.planned = s.neutral = {MetresPerSecond{0.4}, Newtons{1}, Beta{0.1}};
    s.now = {MetresPerSecond{speed}, Newtons{1}, Beta{0.1}};
    return s;
}

} // namespace

TEST_CASE("a switch is sent once, and again when the target's state is unknown")
{
    Target t(everything_target());
    const auto size = [&](Technique technique) {
        Bundle b;
        t.add_switch(b, t.voice(technique));
        return b.size();
    };
    CHECK(size(Technique::spiccato) == 2); // keyswitch down and up
    CHECK(size(Technique::spiccato) == 0);
    CHECK(size(Technique::legato) == 2);
    t.forget();
    CHECK(size(Technique::legato) == 2);
}

TEST_CASE("up- and down-bow variants are selected by the stroke's direction")
{
    Target t(everything_target());
    Bundle down;
    t.add_switch(down, t.voice(Technique::detache, {Direction::down}));
    Bundle up;
    t.add_switch(up, t.voice(Technique::detache, {Direction::up}));
    CHECK(down[0].first() == n(0));
    CHECK(up[0].first() == n(technique_count));
}

TEST_CASE("bank select goes as a pair right before the program change (MIDI 1.0, bank select)")
{
    TargetSpec spec;
    spec.techniques[0].present = true;
    spec.techniques[0].down.steps.push_back({SwitchKind::program, n(40), n(0), Midi14::from(2 * 128 + 5)});
    spec.techniques[0].up = spec.techniques[0].down;
    Target t(spec);
    Bundle b;
    t.add_switch(b, t.voice(Technique::detache));
    REQUIRE(b.size() == 3);
    CHECK((b[0] == control_change(Channel{}, n(0), n(2))));
    CHECK((b[1] == control_change(Channel{}, n(32), n(5))));
    CHECK((b[2] == program_change(Channel{}, n(40))));
}

TEST_CASE("a held keyswitch is released before the next one")
{
    TargetSpec spec = everything_target();
    for (TechniqueWay& way : spec.techniques) way.down.steps[0].kind = way.up.steps[0].kind = SwitchKind::keyswitch_held;
    Target t(spec);
    Bundle b;
    t.add_switch(b, t.voice(Technique::legato));
    t.add_switch(b, t.voice(Technique::spiccato));
    REQUIRE(b.size() == 3);
    CHECK((b[1] == note_off(Channel{}, n(1))));
    CHECK((b[2] == note_on(Channel{}, n(6), n(100))));
    Bundle silence;
    t.add_silence(silence, Channel{}, false);
    CHECK((silence[0] == note_off(Channel{}, n(6))));
}

TEST_CASE("a missing technique falls back along its chain")
{
    TargetSpec spec;
    spec.techniques[static_cast<std::size_t>(Technique::detache)].present = true;
    spec.techniques[static_cast<std::size_t>(Technique::spiccato)].fallback = Technique::staccato;
    spec.techniques[static_cast<std::size_t>(Technique::staccato)].fallback = Technique::detache;
    Target t(spec);
    CHECK((t.voice(Technique::spiccato).technique == Technique::detache));
    CHECK(t.voice(Technique::marcato).missing);
}

TEST_CASE("curves are sent when they have moved, and none when nothing changes")
{
    Target t(everything_target());
    CHECK(t.moved(Channel{}, state(0.5, 0.4)).size() == 5);
    CHECK(t.moved(Channel{}, state(0.5, 0.4, 20)).empty());
    CHECK(t.moved(Channel{}, state(0.6, 0.4, 40)).size() == 1);
}

TEST_CASE("a bow that slows colours the loudness by the depth and no more")
{
    Target t(everything_target()); // speed is mixed into loudness with depth 0.3
    const auto value = [&](double speed) {
        t.forget();
        return t.moved(Channel{}, state(1.0, speed))[0].value;
    };
    CHECK(value(0.4) == 127);
    CHECK(value(0.0) == 89);  // 127 * 0.7
    CHECK(value(0.2) == 108); // 127 * 0.85
}

TEST_CASE("a 14-bit curve sends the high half, then the low (MIDI 1.0, controller numbers)")
{
    TargetSpec spec = everything_target();
    spec.curves.clear();
    CurveWay c;
    c.controller = {Channel{}, ControllerKind::control_change_14, n(1)};
    c.high = 16383;
    spec.curves.push_back(c);
    Target t(spec);
    Bundle b;
    t.add_first_values(b, Channel{}, state(0.5, 0.4), Begins::anew);
    REQUIRE(b.size() == 2);
    CHECK((b[0] == control_change(Channel{}, n(1), n(64))));
    CHECK((b[1] == control_change(Channel{}, n(33), n(0))));
}

TEST_CASE("the person's controllers pass, but not on a number the arm speaks on")
{
    Target t(everything_target());
    const auto passes = [&](const Message& m) {
        Bundle b;
        t.pass(b, m);
        return !b.empty();
    };
    CHECK(passes(control_change(Channel{}, n(1), n(5))));
    CHECK(!passes(control_change(Channel{}, n(21), n(5))));
    CHECK(passes(pitch_bend(Channel{}, Midi14::nearest(1))));
    Bundle silence;
    t.add_silence(silence, Channel{}, true);
    CHECK((silence[0] == pitch_bend(Channel{}, Midi14::nearest(8192)))); // bend goes back to its centre
}
