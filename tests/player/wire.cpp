// A DIN cable carries 3125 bytes a second, and whatever is played, no more is put on it.
//   31 250 baud, 1 start bit, 8 data bits, 1 stop bit: 320 us a byte (IEC 63035:2017; MIDI 1.0 gives 960 us for a note-on)
#include "player/random_playing.hpp"
#include "target/wire_budget.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <map>
#include <string>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr std::int64_t byte_ns = 320'000; // the standard's, not the code's
constexpr int depth_bytes = 294;          // as stated in target/wire_budget.hpp

// What goes onto the cable, and what a sampler at its other end is like.
class Cable final : public Sink
{
public:
    struct Piece {
        Time at;
        int bytes;
    };
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        in_order(at);
        int bytes = 0;
        bool begins = false;
        for (const Message& m : messages) {
            bytes += m.size;
            if (m.kind() == MessageKind::control_change) set(m.first().get(), m.second().get());
            const bool note = m.is_note_on() && m.first().get() > technique_count;
            begins = begins || note;
            if (note) note_states.push_back(state);
            if (m.is_note_on() && down[m.first().get()]++ != 0) complaint = "a key that sounds was struck again";
            if (m.is_note_off() && down[m.first().get()]-- != 1) complaint = "a note-off for a key that does not sound";
        }
        if (begins && at == value_at && is_value_) complaint = "a note behind a curve value of its instant";
        pieces.push_back({at, bytes});
        if (begins) notes.push_back(at);
        is_value_ = false;
        value_at = {-1};
    }
    void curve(Time at, Controller c, int value) noexcept override
    {
        in_order(at);
        set(c.number.get(), value);
        pieces.push_back({at, 3});
        is_value_ = true;
        value_at = at;
        ++curves;
    }
    void fact(const Fact&) noexcept override {}
    int sounding() const
    {
        int n = 0;
        for (const auto& [key, count] : down) n += count;
        return n;
    }

    std::vector<Piece> pieces;
    std::vector<Time> notes;
    std::map<int, int> state; // of the curves' controllers
    std::vector<std::map<int, int>> note_states;
    std::map<int, int> down;
    std::string complaint;
    int curves{0};
    Time value_at{-1};

private:
    void set(int controller, int value)
    {
        if (20 <= controller && controller <= 24) state[controller] = value;
    }
    void in_order(Time at)
    {
        if (at < last_) complaint = "time ran backwards";
        last_ = at;
    }
    Time last_{};
    bool is_value_{false};
};

// Every stretch from one piece to a later one: bytes within it against what may have been put on the wire.
bool within(const std::vector<Cable::Piece>& pieces, int depth, int shares)
{
    // A token bucket holds for all stretches when it holds running from any start; Lindley's recursion finds the worst one.
    std::int64_t backlog = 0;
    Time before{};
    for (const Cable::Piece& p : pieces) {
        backlog = std::max<std::int64_t>(0, backlog - (p.at - before).ns) + std::int64_t{p.bytes} * byte_ns * shares;
        before = p.at;
        if (backlog > std::int64_t{depth} * byte_ns * shares) return false;
    }
    return true;
}

// The same by looking at every pair, for short ones.
bool within_every_stretch(const std::vector<Cable::Piece>& pieces, int depth)
{
    for (std::size_t i = 0; i < pieces.size(); ++i) {
        std::int64_t bytes = 0;
        for (std::size_t j = i; j < pieces.size(); ++j) {
            bytes += pieces[j].bytes;
            if (bytes * byte_ns > depth * byte_ns + (pieces[j].at - pieces[i].at).ns) return false;
        }
    }
    return true;
}

PlayerConfig on_cable(PlayerConfig config, int players = 1)
{
    config.players_on_cable = players;
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

} // namespace

TEST_CASE("whatever is played, at no moment more goes onto the cable than its rate and a bundle's depth")
{
    long pieces = 0;
    for (std::uint64_t seed = 1; seed <= 4'000; ++seed) {
        CAPTURE(seed);
        const auto playing = seed % 2 == 0 ? random_playing(seed, 60) : random_two_voices(seed, 60);
        Player player{on_cable(random_config(seed))};
        Cable cable;
        play(player, playing, cable);
        CHECK(cable.complaint == "");
        CHECK(cable.sounding() == 0);
        CHECK((player.next_wake() == Time::never()));
        REQUIRE(within(cable.pieces, depth_bytes, 1));
        if (seed % 40 == 0) REQUIRE(within_every_stretch(cable.pieces, depth_bytes));
        pieces += static_cast<long>(cable.pieces.size());
    }
    CHECK(pieces > 200'000);
}

TEST_CASE("the check of the budget sees a breach")
{
    Cable cable; // the same without a budget: a bundle of 288 bytes and six values at once, and once more soon after
    cable.pieces = {{at_ms(0), 288}, {at_ms(0), 6}, {at_ms(92), 288}};
    CHECK_FALSE(within(cable.pieces, depth_bytes, 1));
    CHECK_FALSE(within_every_stretch(cable.pieces, depth_bytes));
    cable.pieces.back().at = at_ms(93);
    CHECK(within(cable.pieces, depth_bytes, 1));
    CHECK(within_every_stretch(cable.pieces, depth_bytes));
}

TEST_CASE("players on one cable have equal shares, and together stay below depth and rate over any stretch")
{
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        CAPTURE(seed);
        Dice dice(seed);
        const int players = 2 + dice.below(7);
        std::vector<Cable::Piece> all;
        for (int p = 0; p < players; ++p) {
            const std::uint64_t own = seed * 100 + static_cast<std::uint64_t>(p);
            // Half of the seeds have them play in unison.
            Player player{on_cable(random_config(seed % 2 == 0 ? seed : own), players)};
            Cable cable;
            play(player, random_playing(seed % 2 == 0 ? seed : own, 60), cable);
            REQUIRE(within(cable.pieces, depth_bytes, players)); // its share
            all.insert(all.end(), cable.pieces.begin(), cable.pieces.end());
        }
        std::stable_sort(all.begin(), all.end(), [](const Cable::Piece& a, const Cable::Piece& b) { return a.at < b.at; });
        REQUIRE(within(all, depth_bytes * players, 1));
    }
}

TEST_CASE("a note begins at the same moment and finds the sampler as behind a fast cable")
{
    long notes = 0;
    for (std::uint64_t seed = 1; seed <= 1'500; ++seed) {
        CAPTURE(seed);
        const auto playing = random_two_voices(seed, 60);
        Cable fast;
        Cable din;
        Player free{random_config(seed)};
        Player bound{on_cable(random_config(seed))};
        play(free, playing, fast);
        play(bound, playing, din);
        REQUIRE(fast.note_states.size() == din.note_states.size());
        for (std::size_t i = 0; i < fast.note_states.size(); ++i) REQUIRE((fast.note_states[i] == din.note_states[i]));
        REQUIRE(fast.notes.size() == din.notes.size());
        for (std::size_t i = 0; i < fast.notes.size(); ++i) REQUIRE(fast.notes[i] <= din.notes[i]);
        CHECK((fast.state == din.state)); // in the end
        notes += static_cast<long>(fast.notes.size());
    }
    CHECK(notes > 10'000);
}

TEST_CASE("curves never delay a note: with or without them its bundle leaves at the same moment")
{
    for (std::uint64_t seed = 1; seed <= 500; ++seed) {
        CAPTURE(seed);
        WireBudget with{1};
        WireBudget without{1};
        Dice dice(seed);
        Time now{};
        for (int i = 0; i < 400; ++i) {
            now = now + Duration{static_cast<std::int64_t>(dice.below(12'000'000))};
            if (dice.one_in(3)) {
                const int bytes = 1 + dice.below(WireBudget::bundle_bytes);
                REQUIRE(with.bundle_from(bytes) == without.bundle_from(bytes));
                if (now < with.bundle_from(bytes)) now = with.bundle_from(bytes);
                with.bundle_left(now, bytes);
                without.bundle_left(now, bytes);
            }
            for (const int bytes : {2, 3, 6})
                if (with.value_from(bytes) <= now) with.value_left(now, bytes);
        }
    }
}

TEST_CASE("of values that wait the newest goes, and a full cable takes as many as it can carry")
{
    PlayerConfig config = on_cable(violin_config(), 8); // an eighth of the cable: 390 bytes a second
    config.target.rate_high = 1000;
    Player player{config};
    Cable cable;
    const auto controller = [&](std::int64_t ms, int value) {
        advance(player, at_ms(ms), cable);
        player.on(midi_input(at_ms(ms), Source{0}, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(value))), cable);
    };
    controller(0, 20);
    player.on(midi_input(at_ms(0), Source{0}, note_on(Channel{}, Midi7::nearest(69), Midi7::nearest(80))), cable);
    for (int i = 0; i < 200; ++i) controller(10 + i * 10, 20 + i / 2);
    advance(player, at_ms(2'010), cable);
    const int sent = cable.curves;
    CHECK(sent > 200); // a value each 7.68 ms from 1 s on, when the first bundle is paid for
    CHECK(sent < 2'010 / 7);
    advance(player, at_ms(4'000), cable);
    Player fast{[] {
        PlayerConfig c = violin_config();
        c.target.rate_high = 1000;
        return c;
    }()};
    Cable free;
    const auto same = [&](std::int64_t ms, int value) {
        advance(fast, at_ms(ms), free);
        fast.on(midi_input(at_ms(ms), Source{0}, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(value))), free);
    };
    same(0, 20);
    fast.on(midi_input(at_ms(0), Source{0}, note_on(Channel{}, Midi7::nearest(69), Midi7::nearest(80))), free);
    for (int i = 0; i < 200; ++i) same(10 + i * 10, 20 + i / 2);
    advance(fast, at_ms(4'000), free);
    CHECK((cable.state == free.state));
    CHECK(cable.curves < free.curves);
}

TEST_CASE("the person's own wheel moves on as the cable allows, and its newest place arrives")
{
    Player player{on_cable(violin_config(), 8)};
    Memory memory;
    Hands hands{player, memory};
    for (int i = 0; i < 1'000; ++i) hands.input(midi_input(at_ms(i), Source{0}, pitch_bend(Channel{}, Midi14::nearest(8'192 + i))));
    hands.until(3'000);
    CHECK(memory.sent.size() < 140); // 1 s at 7.68 ms each
    CHECK(memory.sent.size() > 125);
    CHECK((memory.sent.back().message == pitch_bend(Channel{}, Midi14::nearest(8'192 + 999))));
}

TEST_CASE("parameter numbers, data entry and pedals keep their order and are never left out")
{
    PlayerConfig config = on_cable(violin_config(), 4);
    config.controls.sustain = SustainMeaning::pass;
    Player player{config};
    Memory memory;
    Hands hands{player, memory};
    constexpr int numbers[] = {101, 100, 6, 38, 64, 64, 98, 99};
    std::vector<Message> passed;
    for (int i = 0; i < 80; ++i) {
        const int number = numbers[i % 8];
        hands.controller(i, number, i);
        passed.push_back(control_change(Channel{}, Midi7::nearest(number), Midi7::nearest(i)));
    }
    hands.until(5'000);
    REQUIRE(memory.sent.size() == passed.size());
    for (std::size_t i = 0; i < passed.size(); ++i) CHECK((memory.sent[i].message == passed[i]));
}

TEST_CASE("more notes than any cable carries: the budget holds, and in the end nothing sounds")
{
    Player player{on_cable(violin_config(), 4)};
    Cable cable;
    for (int i = 0; i < 4'000; ++i) {
        const Time at = at_ms(i / 4);
        const int key = 55 + i * 7 % 40;
        advance(player, at, cable);
        player.on(midi_input(at, Source{0}, note_on(Channel{}, Midi7::nearest(key), Midi7::nearest(80))), cable);
        if (i % 2 == 0) player.on(midi_input(at, Source{0}, note_off(Channel{}, Midi7::nearest(key))), cable);
    }
    player.on({at_ms(1'001), Source{0}, InputKind::port_lost, {}}, cable);
    advance(player, at_ms(60'000), cable);
    CHECK(cable.complaint == "");
    CHECK(cable.sounding() == 0);
    CHECK(within(cable.pieces, depth_bytes, 4));
    CHECK((player.next_wake() == Time::never()));
}

TEST_CASE("panic leaves what waits behind, and its note-offs go first")
{
    Player player{on_cable(violin_config(), 8)};
    Memory memory;
    Hands hands{player, memory};
    for (int i = 0; i < 30; ++i) hands.note(i * 30, 60 + i % 12, 20);
    hands.command(900, Command::panic);
    hands.until(900 + 400);
    std::map<int, int> down;
    Time last_note_on{};
    for (const Sent& s : memory.sent) {
        if (s.message.is_note_on()) ++down[s.message.first().get()];
        if (s.message.is_note_off()) --down[s.message.first().get()];
        if (s.message.is_note_on()) last_note_on = s.at;
    }
    for (const auto& [key, count] : down) CHECK(count == 0);
    CHECK(last_note_on <= at_ms(900));
    CHECK((memory.sent.back().message == control_change(Channel{}, Midi7::nearest(120), Midi7::nearest(0))));
}
