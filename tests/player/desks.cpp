// A part whose notes are shared among several players.
#include "player/random_playing.hpp"

#include <doctest/doctest.h>
#include <map>
#include <set>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

PlayerConfig shared(int desks, bool channels = false)
{
    PlayerConfig c = violin_config();
    c.desks = static_cast<std::uint8_t>(desks);
    c.desk_channels = channels;
    return c;
}

struct Scene {
    explicit Scene(const PlayerConfig& c) : config(c) {}
    PlayerConfig config;
    Memory memory;
    Player player{config};
    Hands hands{player, memory};
    std::map<int, int> desks() const
    {
        std::map<int, int> found;
        for (const Fact& f : memory.of(FactKind::note_began)) found[f.pitch] = f.desk;
        return found;
    }
};

} // namespace

// Divisi a 2, a 3: the upper notes to the first desk (common practice, no source).
TEST_CASE("of a chord the highest note is the first desk's, the next the second's, and all sound at once, each with a bow of its own")
{
    for (const bool up : {false, true}) {
        Scene s{shared(3)};
        const std::vector<int> keys = up ? std::vector<int>{62, 69, 77} : std::vector<int>{77, 69, 62};
        for (const int key : keys) s.hands.down(0, key);
        s.hands.until(200);
        CHECK(s.desks() == std::map<int, int>{{77, 0}, {69, 1}, {62, 2}});
        std::set<std::uint32_t> strokes;
        for (const Fact& f : s.memory.of(FactKind::note_began)) {
            strokes.insert(f.stroke);
            CHECK(f.at == Time{1});
            CHECK(f.note == (f.pitch == keys[0] ? 0u : (f.pitch == keys[1] ? 1u : 2u)));
        }
        CHECK(strokes.size() == 3);
        for (const int key : keys) s.hands.up(300, key);
        s.hands.until(2'000);
        for (const Fact& f : s.memory.of(FactKind::note_ended)) CHECK(f.at == at_ms(300) + Duration{1});
        CHECK(s.memory.of(FactKind::note_ended).size() == 3);
        CHECK((s.player.next_wake() == Time::never()));
    }
}

TEST_CASE("four notes for two desks are two double stops")
{
    Scene s{shared(2)};
    for (const int key : {55, 62, 71, 79}) s.hands.down(0, key);
    s.hands.until(500);
    CHECK(s.desks() == std::map<int, int>{{79, 0}, {71, 0}, {62, 1}, {55, 1}});
    CHECK(s.memory.of(FactKind::note_ended).empty());
}

TEST_CASE("one line is the first desk's, a second voice keeps its desk, and a key ends on the desk it began on")
{
    Scene line{shared(3)};
    for (int i = 0; i < 6; ++i) {
        line.hands.down(i * 300, 67 + 2 * i);
        if (i > 0) line.hands.up(i * 300 + 50, 65 + 2 * i);
    }
    line.hands.until(1'600);
    for (const auto& [pitch, desk] : line.desks()) CHECK(desk == 0);

    Scene two{shared(2)};
    two.hands.down(0, 79);
    two.hands.down(0, 64);
    two.hands.up(900, 64);
    two.hands.down(1'000, 65); // the upper voice holds
    two.hands.down(1'500, 77);
    two.hands.up(1'560, 79);
    two.hands.until(2'000);
    CHECK(two.desks() == std::map<int, int>{{79, 0}, {64, 1}, {65, 1}, {77, 0}});
    for (const Fact& f : two.memory.of(FactKind::note_ended)) CHECK(f.desk == (f.note == 0 ? 0 : 1));
}

TEST_CASE("each desk on a channel of its own, counted up from the target's")
{
    Scene s{shared(3, true)};
    for (const int key : {62, 69, 77}) s.hands.down(0, key);
    s.hands.until(200);
    std::map<int, int> channels;
    for (const Message& m : s.memory.note_ons())
        if (m.first().get() > 30) channels[m.first().get()] = m.channel().get();
    CHECK(channels == std::map<int, int>{{77, 0}, {69, 1}, {62, 2}});
}

TEST_CASE("on one channel a switch that one desk has sent is not sent again by another, and one of them sends the curves")
{
    Scene s{shared(3)};
    s.hands.note(0, 15, 5);  // spiccato
    s.hands.note(50, 12, 5); // detache
    for (const int key : {62, 69, 77}) s.hands.down(100, key);
    s.hands.until(150);
    int switches = 0;
    for (const Message& m : s.memory.note_ons()) switches += m.first().get() < 17 ? 1 : 0;
    CHECK(switches == 1);
    std::map<int, std::set<std::int64_t>> sent;
    for (const Sent& m : s.memory.sent) {
        if (m.message.kind() != MessageKind::control_change) continue;
        CHECK(sent[m.message.first().get()].insert(m.at.ns).second); // never two values of one controller at once
    }
    CHECK(sent.size() == 5);
}

TEST_CASE("a pedal or wheel goes through once, and panic silences every desk")
{
    Scene s{shared(4)};
    s.hands.controller(0, 1, 90);
    for (const int key : {55, 62, 69, 77}) s.hands.down(100, key);
    s.hands.command(400, Command::panic);
    s.hands.until(1'000);
    int wheels = 0;
    std::map<int, int> on;
    for (const Sent& m : s.memory.sent) {
        wheels += m.message.kind() == MessageKind::control_change && m.message.first().get() == 1 ? 1 : 0;
        on[m.message.first().get()] += m.message.is_note_on() ? 1 : (m.message.is_note_off() ? -1 : 0);
    }
    CHECK(wheels == 1);
    for (const auto& [key, n] : on) CHECK(n == 0);
    Snapshot now;
    s.player.read(now);
    CHECK(now.notes == 4);
    CHECK_FALSE(now.sounding);
}

TEST_CASE("whatever is played among desks: every note that begins ends, on the desk it began on, and no key is struck twice")
{
    for (std::uint64_t seed = 1; seed <= 4'000; ++seed) {
        PlayerConfig config = random_config(seed);
        config.desks = static_cast<std::uint8_t>(2 + seed % 3);
        config.desk_channels = seed % 2 == 0;
        Player player{config};
        Memory memory;
        const auto playing = seed % 3 == 0 ? random_two_voices(seed, 80) : random_playing(seed, 80);
        for (const Input& input : playing) {
            advance(player, input.at, memory);
            player.on(input, memory);
        }
        const Time last = playing.back().at;
        for (std::uint8_t source = 0; source < 3; ++source) player.on({last, Source{source}, InputKind::port_lost, {}}, memory);
        advance(player, last + milliseconds(60'000), memory);
        CAPTURE(seed);
        CHECK((player.next_wake() == Time::never()));
        std::map<std::pair<int, int>, int> on;
        bool twice = false;
        for (const Sent& m : memory.sent) {
            if (m.message.first().get() <= technique_count) continue; // switches; in bypass the person may press them, too
            int& n = on[{m.message.channel().get(), m.message.first().get()}];
            if (m.message.is_note_on() && n++ != 0) twice = true;
            if (m.message.is_note_off() && n-- != 1) twice = true;
        }
        CHECK_FALSE(twice);
        for (const auto& [key, n] : on) CHECK(n == 0);
        std::map<std::uint32_t, int> began;
        for (const Fact& f : memory.facts) {
            if (f.kind == FactKind::note_began) began[f.note] = f.desk;
            if (f.kind == FactKind::note_ended) CHECK(began.at(f.note) == f.desk);
        }
    }
}

TEST_CASE("a key that two hands hold, one of them from before the arm stepped out, does not come back when both are up")
{
    for (const int desks : {1, 2}) {
        CAPTURE(desks);
        Scene s{shared(desks)};
        s.hands.command(0, Command::select_technique, static_cast<std::uint8_t>(Technique::spiccato));
        s.hands.down(50, 57);
        s.hands.down(140, 61);
        s.hands.up(200, 61); // 57 is silent, and down
        s.hands.command(300, Command::bypass_on);
        s.hands.down(800, 57); // another hand
        s.hands.up(820, 57);
        s.hands.up(850, 57);
        s.hands.command(900, Command::bypass_off);
        s.hands.command(900, Command::select_technique, static_cast<std::uint8_t>(Technique::legato));
        s.hands.down(1'000, 69);
        s.hands.down(1'100, 71);
        s.hands.up(1'200, 69);
        s.hands.up(1'250, 71);
        s.hands.until(5'000);
        std::map<int, int> sounding;
        for (const Sent& sent : s.memory.sent) {
            if (sent.message.first().get() <= technique_count) continue; // switches
            sounding[sent.message.first().get()] += sent.message.is_note_on() - sent.message.is_note_off();
        }
        for (const auto& [key, count] : sounding) CHECK(count <= 0);
        Snapshot now;
        s.player.read(now);
        CHECK(!now.sounding);
    }
}
