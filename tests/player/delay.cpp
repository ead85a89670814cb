// A fixed delay: notes leave early for a sampler that speaks late, and the arm knows what follows.
#include "player/delays.hpp"
#include "player/random_playing.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <map>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

// Bundles and curve values apart.
class Apart final : public Sink
{
public:
    struct Whole {
        Time at;
        std::vector<Message> messages;
        bool operator==(const Whole&) const = default;
    };
    struct Value {
        Time at;
        int number;
        int value;
    };
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        if (at < last_) ordered = false;
        last_ = at;
        bundles.push_back({at, {messages.begin(), messages.end()}});
        for (const Message& m : messages) {
            if (m.is_note_on() && down[m.first().get()]++ != 0) balanced = false;
            if (m.is_note_off() && down[m.first().get()]-- != 1) balanced = false;
        }
    }
    void curve(Time at, Controller c, int value) noexcept override
    {
        if (at < last_) ordered = false;
        last_ = at;
        values.push_back({at, c.number.get(), value});
    }
    void fact(const Fact& f) noexcept override { facts.push_back(f); }

    std::vector<Whole> bundles;
    std::vector<Value> values;
    std::vector<Fact> facts;
    std::map<int, int> down;
    bool ordered{true};
    bool balanced{true};

private:
    Time last_{};
};

constexpr SpeakingDelay slow{Seconds{0.06}, Seconds{0.11}, Seconds{0.02}, Seconds{0.03}};

PlayerConfig speaking(PlayerConfig config, Seconds delay, const SpeakingDelay& speaks = slow)
{
    for (TechniqueWay& way : config.target.techniques) way.speaking = speaks;
    config.delay = delay;
    return config;
}

template <class S> void play(Player& player, const std::vector<Input>& playing, S& sink)
{
    for (const Input& input : playing) {
        advance(player, input.at, sink);
        player.on(input, sink);
    }
    for (std::uint8_t source = 0; source < 3; ++source) player.on({playing.back().at, Source{source}, InputKind::port_lost, {}}, sink);
    advance(player, playing.back().at + milliseconds(60'000), sink);
}

struct Scene {
    explicit Scene(const PlayerConfig& c) : config(c) {}
    PlayerConfig config;
    Memory memory;
    Player player{config};
    Hands hands{player, memory};

    // Of the keys that are no keyswitches.
    std::vector<std::int64_t> times(int pitch, bool on) const
    {
        std::vector<std::int64_t> all;
        for (const Sent& s : memory.sent)
            if (s.message.first().get() == pitch && (on ? s.message.is_note_on() : s.message.is_note_off()))
                all.push_back(s.at.ns / 1'000'000);
        return all;
    }
};

using Times = std::vector<std::int64_t>;

SpeakingDelay fixed(double first, double connected) { return {Seconds{first}, Seconds{connected}, Seconds{0}, Seconds{0}}; }

} // namespace

TEST_CASE("a note leaves at its time and the delay, less what the sampler needs, and its end moves with it")
{
    Scene s(speaking(violin_config(), Seconds{0.2}, fixed(0.08, 0.12)));
    s.hands.note(1'000, 69, 300);
    s.hands.until(3'000);
    CHECK(s.times(69, true) == Times{1'120});
    CHECK(s.times(69, false) == Times{1'420});
}

TEST_CASE("a slurred note has its own time, and the old note ends with it, not before")
{
    Scene s(speaking(violin_config(), Seconds{0.2}, fixed(0.05, 0.12)));
    s.hands.down(1'000, 69);
    s.hands.down(1'500, 71);
    s.hands.up(1'550, 69);
    s.hands.up(2'000, 71);
    s.hands.until(4'000);
    CHECK(s.times(69, true) == Times{1'150});
    CHECK(s.times(71, true) == Times{1'580});
    CHECK(s.times(69, false) == Times{1'580});
    CHECK(s.times(71, false) == Times{2'080});
    std::size_t on = 0;
    std::size_t off = 0;
    for (std::size_t i = 0; i < s.memory.sent.size(); ++i) {
        if (s.memory.sent[i].message.is_note_on() && s.memory.sent[i].message.first().get() == 71) on = i;
        if (s.memory.sent[i].message.is_note_off() && s.memory.sent[i].message.first().get() == 69) off = i;
    }
    CHECK(on < off); // as the target's slur asks
}

TEST_CASE("velocity and interval count: softer and wider speaks later")
{
    CHECK(speaks_after(slow, Midi7::nearest(127), std::nullopt).value == doctest::Approx(0.06));
    CHECK(speaks_after(slow, Midi7::nearest(1), std::nullopt).value == doctest::Approx(0.08));
    CHECK(speaks_after(slow, Midi7::nearest(64), std::nullopt).value == doctest::Approx(0.07));
    CHECK(speaks_after(slow, Midi7::nearest(127), 0).value == doctest::Approx(0.11));
    CHECK(speaks_after(slow, Midi7::nearest(127), 12).value == doctest::Approx(0.14));
    CHECK(speaks_after(slow, Midi7::nearest(127), -6).value == doctest::Approx(0.125));
    CHECK(speaks_after(slow, Midi7::nearest(127), 40).value == doctest::Approx(0.17));
    CHECK(speaks_after(fixed(0.4, 0.4), Midi7::nearest(1), 0).value == doctest::Approx(0.4));
}

TEST_CASE("a note that ends where the next has to begin earlier ends before it, and one that would overtake follows")
{
    // 60 ms between the notes: the second, were it slurred, would leave before the first.
    Scene s(speaking(violin_config(), Seconds{0.2}, fixed(0.01, 0.15)));
    s.hands.down(1'000, 69);
    s.hands.down(1'060, 71);
    s.hands.up(1'120, 69);
    s.hands.up(1'500, 71);
    s.hands.until(4'000);
    CHECK(s.times(69, true) == Times{1'190});
    CHECK(s.times(71, true) == Times{1'200}); // 10 ms behind
    CHECK(s.times(69, false) == Times{1'200});
}

TEST_CASE("with a delay shorter than the sampler's, a note leaves at once")
{
    Scene s(speaking(violin_config(), Seconds{0.05}, fixed(0.08, 0.08)));
    s.hands.note(1'000, 69, 300);
    s.hands.until(3'000);
    CHECK(s.times(69, true) == Times{1'000});
}

TEST_CASE("a switch leaves its lead before the note where there is time, and never before the note that came before")
{
    PlayerConfig config = violin_config();
    config.target = everything_target();
    config.target.switch_lead = Seconds{0.02};
    config.delay = Seconds{0.02};
    Scene s(config);
    const auto choose_at = [&](std::int64_t ms, Technique t) {
        s.hands.command(ms, Command::select_technique, static_cast<std::uint8_t>(t));
    };
    choose_at(990, Technique::marcato);
    s.hands.note(1'000, 69, 300, 80);
    choose_at(1'490, Technique::tremolo);
    s.hands.note(1'500, 71, 8, 80);
    choose_at(1'509, Technique::spiccato);
    s.hands.note(1'510, 72, 100, 80);
    s.hands.until(2'500);
    const auto key_of = [](Technique t) { return static_cast<int>(t); };
    CHECK(s.times(key_of(Technique::marcato), true) == Times{1'000});
    CHECK(s.times(69, true) == Times{1'020});
    CHECK(s.times(key_of(Technique::tremolo), true) == Times{1'500});
    CHECK(s.times(71, true) == Times{1'520});
    CHECK(s.times(key_of(Technique::spiccato), true) == Times{1'520}); // right behind the note before
    CHECK(s.times(72, true) == Times{1'530});
}

TEST_CASE("whatever is played: the same bundles in the same order, each within its bounds, and silence in the end")
{
    long early = 0;
    for (std::uint64_t seed = 1; seed <= 2'000; ++seed) {
        CAPTURE(seed);
        const auto playing = seed % 2 == 0 ? random_playing(seed, 60) : random_two_voices(seed, 60);
        bool panics = false;
        for (const Input& i : playing) {
            const auto command = static_cast<Command>(i.data[0]);
            const bool stops = i.kind == InputKind::command && (command == Command::panic || command == Command::target_unknown);
            panics = panics || stops || (i.kind == InputKind::midi && i.data[1] == 21);
        }
        PlayerConfig config = random_config(seed);
        config.chord_hold = Seconds{0};
        config.players_on_cable = 0;
        const PlayerConfig late = speaking(config, Seconds{0.05 + 0.05 * static_cast<double>(seed % 10)});
        const Delays delays = delays_of(late);
        config.delay = to_seconds(delays.hold); // as much foresight, and a sampler that speaks at once
        if (!delays.foresees) config.delay = Seconds{0};
        Apart at_once;
        Apart compensated;
        Player a{config};
        Player b{late};
        play(a, playing, at_once);
        play(b, playing, compensated);
        CHECK(compensated.ordered);
        CHECK(compensated.balanced);
        for (const auto& [key, count] : compensated.down) CHECK(count == 0);
        CHECK((b.next_wake() == Time::never()));
        if (panics) continue; // a panic drops what waits, and more waits here
        REQUIRE(compensated.bundles.size() == at_once.bundles.size());
        for (std::size_t i = 0; i < at_once.bundles.size(); ++i) {
            REQUIRE((compensated.bundles[i].messages == at_once.bundles[i].messages));
            const Time music = at_once.bundles[i].at;
            REQUIRE(music <= compensated.bundles[i].at);
            REQUIRE(compensated.bundles[i].at <= music + delays.early);
            early += compensated.bundles[i].at < music + delays.early;
        }
        // The newest value of each controller is the same in the end, and no value leaves before its time allows.
        std::map<int, int> one;
        std::map<int, int> two;
        for (const auto& v : at_once.values) one[v.number] = v.value;
        for (const auto& v : compensated.values) two[v.number] = v.value;
        CHECK((one == two));
    }
    CHECK(early > 10'000);
}

TEST_CASE("a decision for a note rests on inputs up to the delay after it, and on nothing later")
{
    for (std::uint64_t seed = 1; seed <= 600; ++seed) {
        CAPTURE(seed);
        PlayerConfig config = random_config(seed);
        config.chord_hold = Seconds{0};
        config.delay = Seconds{0.1 * static_cast<double>(1 + seed % 5)};
        if (seed % 3 == 0) config = speaking(config, config.delay);
        const Duration delay = to_duration(config.delay);
        const auto playing = random_two_voices(seed, 60);
        const Time known = playing[30].at + delay;
        std::vector<Input> other;
        for (const Input& input : playing)
            if (input.at <= known) other.push_back(input);
        for (Input input : random_two_voices(seed + 1'000, 30)) {
            input.at = input.at + (known + Duration{1} - Time{});
            other.push_back(input);
        }
        Apart one;
        Apart two;
        Player a{config};
        Player b{config};
        play(a, playing, one);
        play(b, other, two);
        // A note that was played at t has left by t + delay.
        const auto by_then = [&](const Apart& all) {
            std::vector<Apart::Whole> some;
            for (const Apart::Whole& w : all.bundles)
                if (w.at <= known) some.push_back(w);
            return some;
        };
        REQUIRE((by_then(one) == by_then(two)));
    }
}

TEST_CASE("when a wake-up comes has no influence, with a delay, a slow sampler and a cable, too")
{
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        const auto playing = seed % 2 == 0 ? random_playing(seed, 60) : random_two_voices(seed, 60);
        PlayerConfig config = speaking(random_config(seed), Seconds{0.1 * static_cast<double>(seed % 6)});
        config.players_on_cable = static_cast<int>(seed % 4);
        Memory prompt;
        Memory late;
        Player a{config};
        Player b{config};
        for (const Input& input : playing) {
            while (a.next_wake() <= input.at && a.next_wake() != Time::never()) a.wake(prompt);
            a.on(input, prompt);
            advance(b, input.at, late);
            b.on(input, late);
        }
        REQUIRE(prompt.sent.size() == late.sent.size());
        for (std::size_t i = 0; i < prompt.sent.size(); ++i) {
            REQUIRE(prompt.sent[i].at == late.sent[i].at);
            REQUIRE((prompt.sent[i].message == late.sent[i].message));
        }
    }
}

TEST_CASE("panic waits for nothing, whatever the delay, and notes that waited never begin")
{
    Scene s(speaking(violin_config(), Seconds{0.5}));
    s.hands.down(0, 69, 60);
    s.hands.until(1'000);
    s.hands.down(1'000, 71, 60);
    s.hands.until(1'100);
    s.hands.down(1'250, 74, 60);
    s.hands.command(1'300, Command::panic);
    s.hands.until(3'000);
    CHECK(s.times(69, true).size() == 1);
    CHECK(s.times(71, true).empty());
    CHECK(s.times(74, true).empty());
    CHECK(s.times(69, false) == Times{1'300});
    CHECK((s.memory.sent.back().at == at_ms(1'300)));
    CHECK((s.player.next_wake() == Time::never()));
}

TEST_CASE("a chord is whole where the delay is longer than the chord window")
{
    PlayerConfig config = violin_config();
    config.delay = Seconds{0.1};
    config.chord_break = Seconds{0};
    Scene s(config);
    s.hands.down(0, 71, 110);
    s.hands.down(7, 55, 110);
    s.hands.down(25, 62, 110);
    s.hands.until(1'000);
    CHECK(s.times(55, true) == Times{100});
    CHECK(s.times(62, true) == Times{100});
    CHECK(s.times(71, true) == Times{100});
    CHECK(s.memory.of(FactKind::stroke_began).size() == 1);
}

TEST_CASE("a new articulation is read at its first note, and a held one is not mistaken for short")
{
    PlayerConfig config = violin_config();
    config.delay = Seconds{0.5};
    Scene knows(config);
    Scene live(violin_config());
    for (Scene* s : {&knows, &live}) {
        std::int64_t at = 0;
        for (int i = 0; i < 8; ++i, at += 200) s->hands.note(at, 69 + i % 5, 185, 60);
        for (int i = 0; i < 8; ++i, at += 200) s->hands.note(at, 69 + i % 5, 80, 60);
        s->hands.note(at, 76, 1'500, 60);
        s->hands.until(at + 4'000);
    }
    const auto read = [](const Scene& s, std::size_t note) { return s.memory.of(FactKind::note_began)[note].read; };
    CHECK((read(live, 8) == Family::separate));
    CHECK((read(knows, 8) == Family::short_notes));
    CHECK((read(knows, 7) == Family::separate));
    CHECK(live.memory.of(FactKind::repaired).size() == 1);
    CHECK(knows.memory.of(FactKind::repaired).empty());
}

TEST_CASE("a tremolo is one from its first strike")
{
    PlayerConfig config = violin_config();
    config.delay = Seconds{0.5};
    Scene s(config);
    s.hands.note(0, 74, 400);
    for (int i = 0; i < 12; ++i) s.hands.note(600 + i * 90, 69, 45);
    s.hands.note(600 + 12 * 90, 71, 400);
    s.hands.note(600 + 12 * 90 + 450, 72, 400);
    s.hands.until(4'000);
    const auto began = s.memory.of(FactKind::note_began);
    REQUIRE(began.size() == 15);
    CHECK((began[0].read != Family::fast_repeated));
    for (std::size_t i = 1; i <= 12; ++i) CHECK((began[i].read == Family::fast_repeated));
    CHECK((began[13].read != Family::fast_repeated));
}

TEST_CASE("keys that overlap by accident are parted at once")
{
    PlayerConfig config = violin_config();
    config.delay = Seconds{0.1};
    Scene s(config);
    s.hands.down(0, 69);
    s.hands.down(500, 71);
    s.hands.up(510, 69);
    s.hands.up(900, 71);
    s.hands.until(2'000);
    const auto strokes = s.memory.of(FactKind::stroke_began);
    REQUIRE(strokes.size() == 2);
    CHECK((strokes[0].direction != strokes[1].direction));
    const auto notes = s.memory.of(FactKind::note_began);
    REQUIRE(notes.size() == 2); // not told again
    CHECK_FALSE(notes[1].slurred);
}
