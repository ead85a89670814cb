#include "target/target.hpp"

#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }
constexpr Channel ch(int i) { return *Channel::from(i); }

SwitchStep latching(int key) { return {SwitchKind::keyswitch_latching, n(key), n(100), {}}; }
SwitchStep held(int key) { return {SwitchKind::keyswitch_held, n(key), n(100), {}}; }
SwitchStep controller(int number, int value) { return {SwitchKind::controller, n(number), n(value), {}}; }
SwitchStep program(int number, std::optional<int> bank = {})
{
    return {SwitchKind::program, n(number), {}, bank ? Midi14::from(*bank) : std::nullopt};
}

Switch of(std::initializer_list<SwitchStep> steps, std::optional<Channel> channel = {})
{
    Switch s;
    for (const SwitchStep& step : steps) s.steps.push_back(step);
    s.channel = channel;
    return s;
}

TechniqueWay way(const Switch& down, const Switch& up)
{
    TechniqueWay w;
    w.present = true;
    w.down = down;
    w.up = up;
    return w;
}

TargetSpec spec_of(const TechniqueWay& detache, const TechniqueWay& legato)
{
    TargetSpec spec;
    spec.techniques[static_cast<std::size_t>(Technique::detache)] = detache;
    spec.techniques[static_cast<std::size_t>(Technique::legato)] = legato;
    return spec;
}
TargetSpec spec_of(const Switch& detache, const Switch& legato) { return spec_of(way(detache, detache), way(legato, legato)); }

std::vector<Message> switched(Target& t, Technique technique, const Wanted& wanted = {})
{
    Bundle b;
    t.add_switch(b, t.voice(technique, wanted));
    return {b.begin(), b.end()};
}

Wanted going(Direction d)
{
    Wanted w;
    w.direction = d;
    return w;
}

} // namespace

TEST_CASE("of two techniques that differ only in a controller, only the controller is sent")
{
    Target t(spec_of(of({latching(1), controller(102, 10)}), of({latching(1), controller(102, 90)})));
    CHECK(switched(t, Technique::detache).size() == 3);
    const auto sent = switched(t, Technique::legato);
    REQUIRE(sent.size() == 1);
    CHECK((sent[0] == control_change({}, n(102), n(90))));
    CHECK(switched(t, Technique::legato).empty());
}

TEST_CASE("several keyswitches are pressed in their order, each let go before the next")
{
    Target t(spec_of(of({latching(3), latching(1)}), of({latching(4)})));
    const auto sent = switched(t, Technique::detache);
    REQUIRE(sent.size() == 4);
    CHECK((sent[0] == note_on({}, n(3), n(100))));
    CHECK((sent[1] == note_off({}, n(3))));
    CHECK((sent[2] == note_on({}, n(1), n(100))));
    CHECK((sent[3] == note_off({}, n(1))));
    switched(t, Technique::legato);
    CHECK(switched(t, Technique::detache).size() == 4); // which of them the other key has undone is not known
}

TEST_CASE("keys that two techniques hold alike stay down, the rest are exchanged")
{
    Target t(spec_of(of({held(1), held(2)}), of({held(2), held(3)})));
    CHECK(switched(t, Technique::detache).size() == 2);
    const auto sent = switched(t, Technique::legato);
    REQUIRE(sent.size() == 2);
    CHECK((sent[0] == note_off({}, n(1))));
    CHECK((sent[1] == note_on({}, n(3), n(100))));
}

TEST_CASE("each channel keeps what it has")
{
    Target t(spec_of(of({latching(1)}, ch(3)), of({latching(1)}, ch(4))));
    const auto first = switched(t, Technique::detache);
    REQUIRE(first.size() == 2);
    CHECK((first[0].channel() == ch(3)));
    CHECK(switched(t, Technique::legato).size() == 2);
    CHECK(switched(t, Technique::detache).empty());
    CHECK(switched(t, Technique::legato).empty());
    CHECK(t.channels().size() == 3);
    t.forget();
    CHECK(switched(t, Technique::detache).size() == 2);
}

TEST_CASE("a program goes first, and the channel's keyswitches are pressed anew after it")
{
    TargetSpec spec = spec_of(of({latching(1), program(5, 130)}), of({latching(1), program(6, 130)}));
    spec.states[static_cast<std::size_t>(TargetState::unmuted)] = of({latching(8)});
    spec.states[static_cast<std::size_t>(TargetState::muted)] = of({latching(9)});
    Target t(spec);
    switched(t, Technique::detache);
    const auto sent = switched(t, Technique::legato);
    REQUIRE(sent.size() == 7);
    // MIDI 1.0, bank select: both halves, the program change right after them.
    CHECK((sent[0] == control_change({}, n(0), n(1))));
    CHECK((sent[1] == control_change({}, n(32), n(2))));
    CHECK((sent[2] == program_change({}, n(6))));
    CHECK((sent[3] == note_on({}, n(1), n(100))));
    CHECK((sent[5] == note_on({}, n(8), n(100))));
}

TEST_CASE("mute and contact point are switched beside the technique, each when it differs")
{
    TargetSpec spec = spec_of(of({latching(1)}), of({latching(2)}));
    spec.states[static_cast<std::size_t>(TargetState::unmuted)] = of({controller(110, 0)});
    spec.states[static_cast<std::size_t>(TargetState::muted)] = of({controller(110, 127)});
    spec.states[static_cast<std::size_t>(TargetState::ordinary)] = of({held(10)});
    spec.states[static_cast<std::size_t>(TargetState::sul_ponticello)] = of({held(11)});
    Target t(spec);
    CHECK(switched(t, Technique::detache).size() == 4);
    Wanted w;
    w.muted = true;
    CHECK((switched(t, Technique::detache, w) == std::vector{control_change({}, n(110), n(127))}));
    w.zone = ContactZone::sul_ponticello;
    CHECK((switched(t, Technique::detache, w) == std::vector{note_off({}, n(10)), note_on({}, n(11), n(100))}));
    // The target has no sul tasto of its own, so it goes back to ordinary.
    w.zone = ContactZone::sul_tasto;
    CHECK((switched(t, Technique::detache, w) == std::vector{note_off({}, n(11)), note_on({}, n(10), n(100))}));
    CHECK(switched(t, Technique::detache, w).empty());
    Bundle silence;
    t.add_silence(silence, Channel{}, false);
    CHECK((silence[0] == note_off({}, n(10))));
}

TEST_CASE("layers are chosen by loudness or by velocity, the bound belonging to the lower one")
{
    TechniqueWay layered;
    layered.present = true;
    layered.layers.push_back({0.5, of({latching(1)}), of({latching(2)})});
    layered.layers.push_back({1.0, of({latching(3)}), of({latching(4)})});
    TechniqueWay by_velocity = layered;
    by_velocity.layers_by = LayersBy::velocity;
    by_velocity.layers[0].to = 63;
    Target t(spec_of(layered, by_velocity));
    const auto key = [&](Technique technique, Direction d, double loudness, int velocity) {
        const Voice v = t.voice(technique, {d, n(velocity), Loudness{loudness}});
        return int{v.selected[0]->steps[0].number.get()};
    };
    CHECK(key(Technique::detache, Direction::down, 0.5, 127) == 1);
    CHECK(key(Technique::detache, Direction::up, 0.2, 127) == 2);
    CHECK(key(Technique::detache, Direction::down, 0.51, 1) == 3);
    CHECK(key(Technique::legato, Direction::down, 1.0, 63) == 1);
    CHECK(key(Technique::legato, Direction::up, 0.0, 64) == 4);
}

TEST_CASE("a key held at a target in an unknown state is let go of and pressed anew")
{
    Target t(spec_of(of({held(1)}), of({held(2)})));
    switched(t, Technique::detache);
    t.forget_switch();
    CHECK((switched(t, Technique::detache) == std::vector{note_off({}, n(1)), note_on({}, n(1), n(100))}));
}

TEST_CASE("up and down variants may sound on different channels")
{
    Target t(spec_of(way(of({}, ch(1)), of({}, ch(2))), way(of({}, ch(5)), of({}, ch(5)))));
    CHECK((t.voice(Technique::detache, going(Direction::down)).channel == ch(1)));
    CHECK((t.voice(Technique::detache, going(Direction::up)).channel == ch(2)));
    switched(t, Technique::detache, going(Direction::up));
    CHECK(t.has_selected(t.voice(Technique::detache)));
    CHECK(!t.has_selected(t.voice(Technique::legato)));
}

TEST_CASE("what selects a sound is told from what does not")
{
    const TargetSpec spec = spec_of(of({latching(1), program(3, 0)}), of({controller(102, 3)}));
    CHECK(selects(spec, note_on({}, n(1), n(9))));
    CHECK(!selects(spec, note_on({}, n(2), n(9))));
    CHECK(selects(spec, program_change({}, n(7))));
    CHECK(selects(spec, control_change({}, n(32), n(0))));
    CHECK(selects(spec, control_change({}, n(102), n(99))));
    CHECK(!selects(spec, control_change({}, n(11), n(99))));
}
