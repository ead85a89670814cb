// A chord may wait for all its notes; then everything waits.
#include "player/random_playing.hpp"
#include "player/scene.hpp"

#include <algorithm>
#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr int hold_ms = 20;

PlayerConfig holding(PlayerConfig config = violin_config())
{
    config.chord_hold = Seconds{0.001 * hold_ms};
    config.chord_break = Seconds{0};
    return config;
}

struct Struck {
    Time at;
    int key;
};
std::vector<Struck> struck(const Memory& memory)
{
    std::vector<Struck> keys;
    for (const Sent& s : memory.sent)
        if (s.message.is_note_on() && s.message.first().get() > 50) keys.push_back({s.at, s.message.first().get()});
    return keys;
}

// Notes at least 40 ms apart, so that none can be a chord's, with controllers between.
std::vector<Input> no_chords(std::uint64_t seed)
{
    Dice dice(seed);
    std::vector<Input> playing;
    Time at{};
    std::vector<int> down;
    for (int i = 0; i < 80; ++i) {
        at = at + milliseconds(40 + dice.below(300));
        const int key = 55 + dice.below(36);
        playing.push_back(midi_input(at, Source{0}, note_on(Channel{}, Midi7::nearest(key), Midi7::nearest(1 + dice.below(127)))));
        down.push_back(key);
        at = at + milliseconds(5 + dice.below(30));
        const int value = dice.below(128);
        playing.push_back(midi_input(at, Source{0}, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(value))));
        while (down.size() > 1 || (!down.empty() && dice.one_in(2))) {
            at = at + milliseconds(1 + dice.below(60));
            playing.push_back(midi_input(at, Source{0}, note_off(Channel{}, Midi7::nearest(down.front()))));
            down.erase(down.begin());
        }
    }
    return playing;
}

void play(Player& player, const std::vector<Input>& playing, Memory& memory)
{
    for (const Input& input : playing) {
        advance(player, input.at, memory);
        player.on(input, memory);
    }
}

std::vector<Input> up_to(Time last, const std::vector<Input>& playing)
{
    std::vector<Input> first;
    for (const Input& input : playing)
        if (input.at <= last) first.push_back(input);
    return first;
}

} // namespace

TEST_CASE("a chord that waits sounds whole, from the lowest note up, and its bow is chosen once, from all its notes")
{
    Scene s{holding()};
    for (int i = 0; i < 3; ++i) {
        const int at = i * 800;
        s.hands.down(at, 71, 110); // as fingers fall: top, bottom, middle
        s.hands.down(at + 7, 55, 110);
        s.hands.down(at + 13, 62, 110);
        for (const int pitch : {55, 62, 71}) s.hands.up(at + 500, pitch);
    }
    s.hands.until(4'000);
    const auto keys = struck(s.memory);
    REQUIRE(keys.size() == 9);
    constexpr int expected[] = {55, 62, 71};
    for (int i = 0; i < 9; ++i) {
        CHECK(keys[static_cast<std::size_t>(i)].key == expected[i % 3]);
        CHECK(keys[static_cast<std::size_t>(i)].at == at_ms(i / 3 * 800 + hold_ms));
    }
    // Forte chords of three notes are down-bows, each of them (string-class textbook: chords); live has to turn some of them.
    const auto strokes = s.memory.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 3);
    for (const Fact& f : strokes) CHECK((f.direction == Direction::down));
}

TEST_CASE("what comes after the hold joins the chord as it does without")
{
    Scene s{holding()};
    s.hands.down(0, 62, 60);
    s.hands.down(26, 71, 60);
    s.hands.until(1'000);
    const auto keys = struck(s.memory);
    REQUIRE(keys.size() == 2);
    CHECK(keys[0].at == at_ms(hold_ms));
    CHECK(keys[1].at == at_ms(26 + hold_ms));
    CHECK(s.memory.of(FactKind::stroke_began).size() == 1);
}

TEST_CASE("a key that is up again before the other goes down makes no chord with it")
{
    Scene s{holding()};
    s.hands.note(0, 71, 8, 60);
    s.hands.down(12, 62, 60);
    s.hands.until(1'000);
    const auto keys = struck(s.memory);
    REQUIRE(keys.size() == 2);
    CHECK(keys[0].key == 71);
    CHECK(keys[1].at == at_ms(12 + hold_ms));
}

TEST_CASE("without chords everything is the same, so much later")
{
    for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        CAPTURE(seed);
        const auto playing = no_chords(seed);
        Memory at_once;
        Memory later;
        Player live{violin_config()};
        Player waiting{holding()};
        play(live, playing, at_once);
        play(waiting, playing, later);
        const Time end = playing.back().at + milliseconds(1'000);
        advance(live, end, at_once);
        advance(waiting, end + milliseconds(hold_ms), later);
        REQUIRE(at_once.sent.size() == later.sent.size());
        for (std::size_t i = 0; i < later.sent.size(); ++i) {
            REQUIRE(at_once.sent[i].at + milliseconds(hold_ms) == later.sent[i].at);
            REQUIRE((at_once.sent[i].message == later.sent[i].message));
        }
    }
}

TEST_CASE("an input later than a key by more than the hold never changes what was decided for that key")
{
    for (std::uint64_t seed = 1; seed <= 400; ++seed) {
        CAPTURE(seed);
        const PlayerConfig config = seed % 3 == 0 ? violin_config() : holding();
        const Duration hold = to_duration(config.chord_hold);
        const auto playing = random_two_voices(seed, 60);
        const Time key = playing[30].at;
        // One future is as it was played, the other is somebody else's.
        const auto known = up_to(key + hold, playing);
        auto other = known;
        for (Input input : random_two_voices(seed + 1'000, 30)) {
            input.at = input.at + (key + hold + Duration{1} - Time{});
            other.push_back(input);
        }
        Memory one;
        Memory two;
        Player a{config};
        Player b{config};
        play(a, playing, one);
        play(b, other, two);
        const auto decided = [&](const Memory& m) {
            std::vector<Sent> sent;
            for (const Sent& s : m.sent)
                if (s.at <= key + hold) sent.push_back(s);
            return sent;
        };
        const auto first = decided(one);
        const auto second = decided(two);
        REQUIRE(first.size() == second.size());
        for (std::size_t i = 0; i < first.size(); ++i) {
            REQUIRE(first[i].at == second[i].at);
            REQUIRE((first[i].message == second[i].message));
        }
    }
}

TEST_CASE("panic does not wait, and notes that were waiting never begin")
{
    Scene s{holding()};
    s.hands.down(0, 69, 60);
    s.hands.until(500);
    s.hands.down(500, 71, 60);
    s.hands.command(505, Command::panic);
    s.hands.until(2'000);
    const auto keys = struck(s.memory);
    REQUIRE(keys.size() == 1);
    CHECK(keys[0].key == 69);
    int sounding = 0;
    for (const Sent& m : s.memory.sent) {
        if (m.message.first().get() != 69) continue;
        sounding += m.message.is_note_on() - m.message.is_note_off();
        if (m.message.is_note_off()) CHECK(m.at == at_ms(505));
    }
    CHECK(sounding == 0);
    CHECK((s.player.next_wake() == Time::never()));
}

TEST_CASE("more gestures than can wait are done early, in order, and none is lost")
{
    Scene s{holding()};
    for (int i = 0; i < 400; ++i)
        s.hands.input(midi_input(at_ms(0), Source{0}, control_change(Channel{}, Midi7::nearest(1), Midi7::nearest(i % 128))));
    s.hands.until(1'000);
    std::vector<int> values;
    for (const Sent& m : s.memory.sent)
        if (m.message.kind() == MessageKind::control_change && m.message.first().get() == 1) values.push_back(m.message.second().get());
    REQUIRE(values.size() == 400);
    for (int i = 0; i < 400; ++i) CHECK(values[static_cast<std::size_t>(i)] == i % 128);
}
