// Several players in one engine: who plays where, what is cut and passed on, and the exchange of all of them while they play.
#include "files.hpp"
#include "live_counting.hpp"
#include "live_player.hpp"

#include "studio/engine_thread.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/live_engine.hpp"
#include "studio/song_map.hpp"
#include "take/replayed.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

Time at(std::int64_t ms) { return Time{} + milliseconds(ms); }
Channel channel(int counted_from_1) { return *Channel::from(counted_from_1 - 1); }
Midi7 n(int i) { return Midi7::nearest(i); }

Settings settings_from_text(const std::string& text)
{
    const studio_test::Folder folder;
    std::filesystem::create_directory_symlink(studio_test::shipped / "instruments", folder.path() / "instruments");
    std::filesystem::create_directory_symlink(studio_test::shipped / "targets", folder.path() / "targets");
    const Loaded loaded = load_configuration(folder.write("bowarm.toml", "version = 1\n" + text), {});
    if (!std::holds_alternative<Settings>(loaded)) FAIL(studio_test::lines(studio_test::problems_of(loaded)));
    return std::get<Settings>(loaded);
}

// Two violins, viola, cello and bass on two outputs, each on its channel.
const char* const quintet = R"(
[[output]]
name = "high"
[[output]]
name = "low"
marked = true
[[player]]
name = "violin 1"
channel = 1
target_channel = 1
[[player]]
name = "violin 2"
channel = 2
target_channel = 2
[[player]]
name = "viola"
instrument = "viola"
channel = 3
target_channel = 3
[[player]]
name = "cello"
instrument = "cello"
channel = 4
target_channel = 4
output = "low"
[[player]]
name = "bass"
instrument = "double-bass"
channel = 5
target_channel = 5
output = "low"
)";

std::string many(int players)
{
    std::string text;
    for (int i = 0; i < 4; ++i) text += "[[output]]\nname = \"out " + std::to_string(i) + "\"\n";
    for (int i = 0; i < players; ++i)
        text += "[[player]]\nname = \"player " + std::to_string(i) + "\"\ntarget = \"controller-ranges\"\noutput = \"out " +
                std::to_string(i / 16) + "\"\ntarget_channel = " + std::to_string(i % 16 + 1) + "\n";
    return text;
}

// Lines whose first queues belong to the outputs in their order, and what each of them got.
struct House {
    explicit House(const Settings& settings) : engine(ensemble_of(settings, *lines), {}, *lines)
    {
        for (std::size_t i = 0; i < settings.midi.outputs.size(); ++i) {
            lines->outs[i].output.store(static_cast<std::uint8_t>(i));
            lines->outs[i].make_room();
            lines->outs[i].in_use.store(true);
        }
    }
    ~House()
    {
        delete lines->offered.exchange(nullptr);
        delete lines->retired.exchange(nullptr);
    }
    void play(std::int64_t ms, const Message& m, std::uint8_t source = 0)
    {
        lines->feeds[source].assign({source});
        lines->feeds[source].queue.push(midi_input(at(ms), Source{source}, m));
    }
    void run_to(std::int64_t ms)
    {
        for (; now < ms; now += 2) {
            engine.turn(at(now));
            collect();
        }
    }
    void collect()
    {
        TakeItem item;
        while (lines->take.pop(item)) ++kept;
        JournalItem record;
        while (lines->journal.pop(record)) {
            if (const auto* input = std::get_if<JournalInput>(&record))
                journal.inputs.push_back(*input);
            else
                journal.checks.push_back(std::get<JournalCheck>(record));
        }
        for (std::size_t i = 0; i < outs_at_most; ++i) {
            OutItem out;
            while (lines->outs[i].pop(out))
                for (std::size_t m = 0; m < out.count; ++m) sent[i].push_back(out.messages[m]);
        }
    }
    int left_on(std::size_t output)
    {
        std::map<std::pair<int, int>, int> held;
        for (const Message& m : sent[output]) {
            int& count = held[{m.channel().get(), m.first().get()}];
            if (m.is_note_on()) ++count;
            if (m.is_note_off()) --count;
        }
        int left = 0;
        for (const auto& [key, count] : held) left += std::max(count, 0);
        return left;
    }
    int ons(std::size_t output, int counted_from_1)
    {
        return static_cast<int>(std::count_if(sent[output].begin(), sent[output].end(),
                                              [&](const Message& m) { return m.is_note_on() && m.channel() == channel(counted_from_1); }));
    }

    std::unique_ptr<Lines> lines = std::make_unique<Lines>();
    LiveEngine engine;
    std::int64_t now{0};
    int kept{0};
    Journal journal;
    std::map<std::size_t, std::vector<Message>> sent;
};

} // namespace

TEST_CASE("a quintet from a sequencer gets five arms, each on its output and channel")
{
    House house{settings_from_text(quintet)};
    const int keys[] = {76, 69, 60, 48, 36};
    for (int i = 0; i < 5; ++i) {
        house.play(10 + i, note_on(channel(i + 1), n(keys[i]), n(80)));
        house.play(700 + i, note_off(channel(i + 1), n(keys[i])));
    }
    house.run_to(2000);
    for (int i = 0; i < 5; ++i) {
        CAPTURE(i);
        CHECK(house.ons(i < 3 ? 0 : 1, i + 1) == 1);
        CHECK(house.ons(i < 3 ? 1 : 0, i + 1) == 0);
        Snapshot snapshot;
        house.lines->snapshots[static_cast<std::size_t>(i)].read(snapshot);
        CHECK(snapshot.notes == 1);
    }
    CHECK(house.left_on(0) == 0);
    CHECK(house.left_on(1) == 0);
}

TEST_CASE("who is under the hands is told, and a chosen player takes the pedal as it stands")
{
    House house{settings_from_text("[[player]]\nname = \"a\"\nunder_hands = true\ntarget_channel = 1\n"
                                   "[[player]]\nname = \"b\"\nunder_hands = true\ntarget_channel = 2\n"
                                   "[[controls.key]]\nkey = 20\ndoes = \"next player\"\n")};
    house.play(5, control_change(Channel{}, n(11), n(100)));
    house.play(10, note_on(Channel{}, n(60), n(80)));
    house.play(200, note_on(Channel{}, n(20), n(80)));
    house.play(210, note_off(Channel{}, n(20)));
    house.play(300, note_on(Channel{}, n(64), n(80)));
    house.play(600, note_off(Channel{}, n(60)));
    house.play(700, note_off(Channel{}, n(64)));
    house.run_to(2000);
    CHECK(house.lines->counts.under_hands.load() == 1);
    CHECK(house.ons(0, 1) == 1);
    CHECK(house.ons(0, 2) == 1);
    CHECK(house.left_on(0) == 0);
    Snapshot second;
    house.lines->snapshots[1].read(second);
    CHECK(second.loudness.value == doctest::Approx(100 / 127.0));
}

TEST_CASE("an output that asks for its state gets the mark and its own players' state alone")
{
    House house{settings_from_text(quintet)};
    house.lines->outs[1].wants_state.store(true);
    house.run_to(20);
    CHECK(house.sent[0].empty());
    CHECK(std::count(house.sent[1].begin(), house.sent[1].end(), bowed_mark(channel(4))) == 1);
    CHECK(std::count(house.sent[1].begin(), house.sent[1].end(), bowed_mark(channel(5))) == 1);
}

TEST_CASE("a marked stream is passed on as it is, once, and ends with its input")
{
    House house{settings_from_text("[[player]]\nname = \"a\"\n[[player]]\nname = \"b\"\n")};
    house.play(10, bowed_mark(channel(7)));
    house.play(20, note_on(channel(7), n(60), n(33)));
    house.run_to(100);
    CHECK(house.sent[0] == std::vector<Message>{bowed_mark(channel(7)), note_on(channel(7), n(60), n(33))});
    house.lines->from_ports.push({at(110), {0}, InputKind::port_lost, {}});
    house.run_to(200);
    CHECK(house.left_on(0) == 0);
}

// MIDI 1.0 Detailed Specification 4.2.1: every note-on gets its own note-off.
TEST_CASE("a key that a marked stream strikes twice is let go of twice")
{
    House house{settings_from_text("[player]\n")};
    house.play(10, bowed_mark(channel(7)));
    for (const int ms : {20, 30}) house.play(ms, note_on(channel(7), n(60), n(33)));
    for (const int ms : {40, 50}) house.play(ms, note_off(channel(7), n(60)));
    house.run_to(45);
    CHECK(house.left_on(0) == 1);
    house.run_to(100);
    CHECK(house.left_on(0) == 0);
}

TEST_CASE("panic, by command or by a key, ends what was passed on, and what comes next is passed on as before")
{
    for (const bool by_key : {false, true}) {
        CAPTURE(by_key);
        House house{settings_from_text("[player]\n[[controls.key]]\nkey = 21\ndoes = \"panic\"\n")};
        house.play(10, bowed_mark(channel(7)));
        house.play(20, note_on(channel(7), n(60), n(33)));
        house.run_to(100);
        CHECK(house.left_on(0) == 1);
        if (by_key)
            house.play(110, note_on(Channel{}, n(21), n(80)), 1);
        else
            house.lines->from_service.push(command_input(at(110), Command::panic));
        house.run_to(200);
        CHECK(house.left_on(0) == 0);
        house.sent[0].clear();
        house.play(210, note_on(channel(7), n(62), n(34)));
        house.run_to(300);
        CHECK(house.sent[0] == std::vector<Message>{note_on(channel(7), n(62), n(34))});
    }
}

TEST_CASE("a stream stays marked over a gap, and not over a lost port")
{
    House house{settings_from_text("[player]\n")};
    house.play(10, bowed_mark(channel(7)));
    house.play(20, note_on(channel(7), n(60), n(33)));
    house.run_to(100);
    house.lines->from_ports.push({at(110), {0}, InputKind::gap, {}});
    house.run_to(200);
    CHECK(house.left_on(0) == 0);
    house.sent[0].clear();
    house.play(210, note_on(channel(7), n(62), n(34)));
    house.run_to(300);
    CHECK(house.sent[0] == std::vector<Message>{note_on(channel(7), n(62), n(34))});
    house.lines->from_ports.push({at(310), {0}, InputKind::port_lost, {}});
    house.run_to(400);
    CHECK(house.left_on(0) == 0);
    house.play(410, note_on(channel(7), n(64), n(35)));
    house.run_to(500);
    CHECK(house.ons(0, 7) == 1); // the one of before: this one is bowed, on the target's channel
}

TEST_CASE("lamps show the bow of the player under the hands: direction, hair and warnings, only what changed")
{
    House house{settings_from_text("[[output]]\nname = \"sampler\"\n[[output]]\nname = \"box\"\n[player]\n[lamps]\noutput = \"box\"\n"
                                   "channel = 3\nhair_left = \"cc 20\"\ndown = \"note E2\"\nup = \"cc 21\"\nwarning = \"note F#2\"\n")};
    house.run_to(2);
    const auto first = house.sent[1];
    CHECK(first.size() == 4);
    house.play(10, note_on(Channel{}, n(60), n(80)));
    house.run_to(800);
    int low = 127, high = 0, last = -1;
    for (const Message& m : house.sent[1]) {
        CHECK(m.channel() == channel(3));
        if (m.kind() != MessageKind::control_change || m.first() != n(20)) continue;
        CHECK(m.second().get() != last);
        last = m.second().get();
        low = std::min(low, last);
        high = std::max(high, last);
    }
    CHECK(high - low > 10); // the bow runs
    CHECK(house.ons(1, 3) == 1);
    house.play(810, note_off(Channel{}, n(60)));
    house.play(1200, note_on(Channel{}, n(20), n(80))); // below the violin: a warning
    house.run_to(1500);
    CHECK(std::count(house.sent[1].begin(), house.sent[1].end(), note_on(channel(3), n(42), n(127))) == 1);
    house.play(1510, note_off(Channel{}, n(20)));
    house.play(2000, note_on(Channel{}, n(62), n(80)));
    house.play(2300, note_off(Channel{}, n(62)));
    house.run_to(3000);
    CHECK(house.left_on(1) == 0);
}

TEST_CASE("time code through a port tells bar and beat, by a tempo or by a file's map, and silence of it is a stop")
{
    House house{settings_from_text("[time]\ntempo = 120\nmeter = \"4/4\"\n")};
    // 25 frames, from 0: a quarter frame each 10 ms.
    for (int q = 0; q < 300; ++q) {
        const int frame = q / 8 * 2, parts[] = {frame % 25, frame / 25, 0, 1 << 5}, value = parts[q % 8 / 2];
        house.play(100 + 10 * q, {{0xF1, static_cast<std::uint8_t>(q % 8 << 4 | (q % 2 == 0 ? value & 15 : value >> 4)), 0}, 2});
    }
    house.run_to(100 + 2600); // 2.6 s are 5.2 quarters
    house.play(2710, note_on(Channel{}, n(67), n(80)));
    house.run_to(2730);
    Snapshot snapshot;
    house.lines->snapshots[0].read(snapshot);
    CHECK(snapshot.place.source == BeatSource::clock);
    CHECK(snapshot.place.bar == 2);
    CHECK(snapshot.place.beat == doctest::Approx(2.2).epsilon(0.03));
    house.play(3000, note_off(Channel{}, n(67)));
    house.run_to(5000);
    house.lines->snapshots[0].read(snapshot);
    CHECK(snapshot.place.source != BeatSource::clock);
    CHECK(house.left_on(0) == 0);
}

TEST_CASE("a song's tempos are its map")
{
    const studio_test::Folder folder;
    StandardFile song;
    song.track_names = {""};
    song.division = 480;
    song.events = {{0, {}, 0, TempoChange{500'000}}, {1920, {}, 0, TempoChange{1'000'000}}};
    song.end_tick = 1920;
    const auto bytes = write_standard_file(song);
    const auto file = folder.write("song.mid", {bytes.begin(), bytes.end()});
    const auto map = song_map_of(file);
    REQUIRE(std::holds_alternative<std::vector<TempoStep>>(map));
    const auto& steps = std::get<std::vector<TempoStep>>(map);
    REQUIRE(steps.size() == 2);
    CHECK(steps[0].quarters_a_second == doctest::Approx(2));
    CHECK(steps[1].at_s == doctest::Approx(2));
    CHECK(steps[1].quarter == doctest::Approx(4));
    CHECK(steps[1].quarters_a_second == doctest::Approx(1));
    CHECK(std::holds_alternative<std::string>(song_map_of(folder.write("not.mid", "nonsense"))));
    CHECK(std::holds_alternative<std::string>(song_map_of(folder.path() / "nowhere.mid")));
}

TEST_CASE("our own output that comes back is cut, nothing hangs, and it is heard again when it has been quiet")
{
    House house{settings_from_text("[player]\ntarget = \"controller-ranges\"\n")};
    std::size_t returned = 0;
    house.play(5, note_on(Channel{}, n(60), n(80)), 1);
    bool cut = false;
    for (int ms = 0; ms < 1500; ms += 2) {
        house.run_to(ms);
        for (; returned < house.sent[0].size(); ++returned) house.play(ms + 10, house.sent[0][returned]);
        cut = cut || house.lines->counts.cut_inputs.load() == 1;
    }
    CHECK(cut);
    CHECK(house.ons(0, 1) < 20);
    house.play(1600, note_off(Channel{}, n(60)), 1);
    house.run_to(6000);
    CHECK(house.left_on(0) == 0);
    house.play(6010, note_on(Channel{}, n(62), n(80)));
    house.play(6300, note_off(Channel{}, n(62)));
    const int before = house.ons(0, 1);
    house.run_to(7000);
    CHECK(house.lines->counts.cut_inputs.load() == 0);
    CHECK(house.ons(0, 1) == before + 1);
}

TEST_CASE("new players take over between strokes, and with silence after two seconds, and the engine frees and takes nothing")
{
    const Settings settings = settings_from_text(quintet);
    for (const bool held : {false, true}) {
        CAPTURE(held);
        House house{settings};
        house.play(10, note_on(channel(1), n(76), n(80)));
        if (!held) house.play(500, note_off(channel(1), n(76)));
        house.run_to(300);
        Ensemble* const fresh = ensemble_of(settings, *house.lines).release();
        house.lines->offered.store(fresh);
        std::size_t allocations = 0;
        for (; house.now < 4000 && house.lines->retired.load() == nullptr; house.now += 2) {
            {
                const AllocationCount count;
                house.engine.turn(at(house.now));
                allocations += count.count();
            }
            house.collect();
        }
        REQUIRE(house.lines->retired.load() != nullptr);
        CHECK(allocations == 0);
        CHECK(house.left_on(0) == 0);
        if (held) {
            CHECK(house.now >= 2300);
            CHECK(house.now <= 2320);
        } else {
            CHECK(house.now > 500);
            CHECK(house.now < 1500);
        }
        house.play(house.now + 10, note_off(channel(1), n(76)));
        house.play(house.now + 20, note_on(channel(1), n(74), n(80)));
        house.play(house.now + 320, note_off(channel(1), n(74)));
        house.run_to(house.now + 2000);
        CHECK(house.ons(0, 1) == 2);
        CHECK(house.left_on(0) == 0);
    }
}

TEST_CASE("the journal holds the first player alone, and what it sent replays alike before and behind an exchange of players")
{
    const Settings settings = settings_from_text(quintet);
    House house{settings};
    const auto both_play = [&](std::int64_t ms) {
        for (int i = 0; i < 8; ++i) {
            house.play(ms + 150 * i, note_on(channel(1), n(76 - i), n(80)));
            house.play(ms + 150 * i + 1, note_on(channel(2), n(69 - i), n(80)));
            house.play(ms + 150 * i + 120, note_off(channel(1), n(76 - i)));
            house.play(ms + 150 * i + 121, note_off(channel(2), n(69 - i)));
        }
    };
    house.play(5, control_change(channel(1), n(11), n(100)));
    both_play(10);
    house.run_to(1000); // in the middle of it
    house.lines->offered.store(ensemble_of(settings, *house.lines).release());
    house.run_to(4000);
    REQUIRE(house.lines->retired.load() != nullptr);
    both_play(4100);
    house.run_to(8000);

    Journal& journal = house.journal;
    const auto begins =
        std::find_if(journal.inputs.begin(), journal.inputs.end(), [](const Input& i) { return i.kind == InputKind::configured; });
    REQUIRE(begins != journal.inputs.end());
    CHECK(std::any_of(journal.inputs.begin(), journal.inputs.end(), [](const JournalInput& i) { return i.players == only(1); }));
    journal.new_texts.push_back({begins->at, {}});
    const TakeSpan spans[] = {{journal.inputs.front().at, std::prev(begins)->at}, {std::next(begins)->at, journal.inputs.back().at}};
    for (const TakeSpan& span : spans) {
        for (std::size_t player = 0; player < 2; ++player) {
            CAPTURE(player);
            const Replayed again = replayed(journal, span, settings.players[player].config, player);
            CHECK(again.checked > 16); // messages: a note on and off at the least for each of eight notes
            CHECK_FALSE(again.difference);
        }
    }
}

TEST_CASE("every player's part of a take is played again to the same messages, and a transposed one as it heard it")
{
    const Settings settings = settings_from_text("[[player]]\nname = \"low\"\n[[player]]\nname = \"high\"\ntranspose = 12\n"
                                                 "[[player]]\nname = \"plain\"\ninstrument = \"viola\"\n");
    House house{settings};
    for (int i = 0; i < 12; ++i) {
        house.play(10 + 200 * i, note_on(Channel{}, n(60 + i), n(80)));
        house.play(30 + 200 * i, control_change(Channel{}, n(11), n(40 + 5 * i)));
        house.play(150 + 200 * i, note_off(Channel{}, n(60 + i)));
    }
    house.run_to(4000);
    const Journal& journal = house.journal;
    const TakeSpan span{journal.inputs.front().at, journal.inputs.back().at};
    for (std::size_t player = 0; player < 3; ++player) {
        CAPTURE(player);
        const std::vector<Input> inputs = played_by(journal, span, player);
        REQUIRE(inputs.size() == 36);
        CHECK(inputs[0].data[1] == (player == 1 ? 72 : 60));
        const Replayed again = replayed(journal, span, settings.players[player].config, player);
        CHECK(again.checked > 24);
        CHECK_FALSE(again.difference);
    }
    // What all hear alike is one record.
    const auto pedals = std::count_if(journal.inputs.begin(), journal.inputs.end(),
                                      [](const JournalInput& i) { return as_message(i).kind() == MessageKind::control_change; });
    CHECK(pedals == 12);
}

// MIDI 1.0: song position in sixteenths, low half first; start, continue, clock.
const Message song_start{{0xFA, 0, 0}, 1}, song_goes_on{{0xFB, 0, 0}, 1}, song_clock{{0xF8, 0, 0}, 1};
Message song_at(int sixteenths)
{
    return {{0xF2, static_cast<std::uint8_t>(sixteenths & 0x7F), static_cast<std::uint8_t>(sixteenths >> 7)}, 3};
}

TEST_CASE("a pass that begins in the middle begins as the last one stood there (bow, switches, pedals), and is played again alike")
{
    const Settings settings = settings_from_text("[[player]]\nname = \"a\"\nchannel = 1\n[[player]]\nname = \"b\"\nchannel = 2\n"
                                                 "target_channel = 2\n");
    House house{settings};
    constexpr int clock_ms = 20; // 125 quarters a minute
    const auto pass = [&](std::int64_t from, int first_clock, int clocks) {
        for (int i = 0; i < clocks; ++i) {
            const int clock = first_clock + i;
            const std::int64_t ms = from + clock_ms * i;
            house.play(ms, song_clock);
            if (clock % 24 != 0) continue;
            const int quarter = clock / 24;
            house.play(ms + 4, note_on(channel(1), n(64 + quarter % 8), n(80)));
            house.play(ms + 404, note_off(channel(1), n(64 + quarter % 8)));
            if (first_clock == 24 * 5) continue; // the second time nothing is moved
            if (quarter == 2) house.play(ms + 410, control_change(channel(1), n(11), n(33)));
            if (quarter == 6) house.play(ms + 410, control_change(channel(1), n(11), n(111)));
            if (quarter == 6) house.lines->from_service.push(command_input(at(ms + 412), Command::mute_on, 0, 1));
        }
    };
    const auto stands = [&](std::size_t player) {
        Snapshot now;
        house.lines->snapshots[player].read(now);
        return now;
    };
    house.play(10, song_start);
    pass(20, 0, 24 * 5 - 2); // up to just before the sixth quarter
    pass(20 + clock_ms * (24 * 5 - 2), 24 * 5 - 2, 24 * 3);
    house.run_to(20 + clock_ms * 24 * 5 - 2);
    const Snapshot before = stands(0);
    REQUIRE_FALSE(before.sounding);
    REQUIRE_FALSE(before.muted);
    const std::int64_t end = 20 + clock_ms * (24 * 8 - 2) + 100;
    house.run_to(end);
    REQUIRE(stands(0).muted);
    REQUIRE(std::abs(stands(0).hair.value - before.hair.value) > 0.01); // so that the place tells the two apart
    house.play(end + 10, {{0xFC, 0, 0}, 1});
    house.play(end + 20, song_at(20)); // the sixth quarter
    house.run_to(end + 60);
    const Snapshot after = stands(0);
    CHECK(after.hair.value == doctest::Approx(before.hair.value).epsilon(0.0001));
    CHECK(after.direction == before.direction);
    CHECK_FALSE(after.muted);
    CHECK(after.loudness.value == doctest::Approx(33 / 127.0));
    house.play(end + 70, song_goes_on);
    house.run_to(end + 100);
    pass(end + 100, 24 * 5, 48);
    house.run_to(end + 100 + clock_ms * 48 + 1000);
    const Journal& journal = house.journal;
    const TakeSpan span{at(end + 90), journal.inputs.back().at};
    CHECK(std::any_of(journal.inputs.begin(), journal.inputs.end(), [](const JournalInput& i) {
        return i.kind == InputKind::command && static_cast<Command>(i.data[0]) == Command::bow_at && i.players == only(0);
    }));
    for (std::size_t player = 0; player < 2; ++player) {
        const Replayed again = replayed(journal, span, settings.players[player].config, player);
        CHECK_FALSE(again.difference);
    }
    CHECK(replayed(journal, span, settings.players[0].config, 0).checked > 20);
}

TEST_CASE("a note that begins just before its beat is known belongs to the pass, not to what was before it")
{
    LastStrokes strokes;
    Snapshot now;
    CHECK_FALSE(strokes.at(at(0), now));
    Fact first;
    first.kind = FactKind::stroke_began;
    first.stroke = 0;
    first.at = at(0);
    first.direction = Direction::down;
    first.hair_from = HairFraction{0.1};
    first.string = 2;
    strokes.saw(first);
    CHECK_FALSE(strokes.at(at(30), now)); // the bow was in the air
    now.hair = HairFraction{0.7};
    REQUIRE(strokes.at(at(500), now));
    CHECK(strokes.at(at(500), now)->place == HairFraction{0.7});
    Fact second = first;
    second.stroke = 1;
    second.at = at(990);
    second.direction = Direction::up;
    second.hair_from = HairFraction{0.8};
    second.string = 3;
    strokes.saw(second);
    strokes.saw(second); // told again
    const auto stood = strokes.at(at(1000), now);
    REQUIRE(stood);
    CHECK(stood->direction == Direction::down);
    CHECK(stood->place == HairFraction{0.8});
    CHECK(stood->string == 2);
    CHECK(strokes.at(at(1200), now)->direction == Direction::up);
}

namespace
{

// What the take writer hands over of a take that is heard again.
void hear(House& house, std::uint8_t number, std::int64_t ms, Input input, std::uint8_t player = 0)
{
    input.at = at(ms);
    input.source = source_again;
    input.data[3] = player;
    input.data[4] = number;
    house.lines->from_take.push(input);
}

} // namespace

TEST_CASE("a take that is heard again goes through with the arm off, and a key by hand ends it without a note that hangs")
{
    const Settings settings = settings_from_text(quintet);
    for (const std::int64_t by_hand : {0, 1200, 1350, 2300, 2900}) {
        CAPTURE(by_hand);
        House house{settings};
        house.play(5, control_change(channel(1), n(11), n(100)));
        house.run_to(20);
        house.lines->hearing.store(1);
        hear(house, 1, 1000, command_input({}, Command::bypass_on));
        hear(house, 1, 1100, midi_input({}, {}, control_change(channel(1), n(64), n(127))));
        hear(house, 1, 1200, midi_input({}, {}, note_on(channel(1), n(76), n(80))));
        hear(house, 1, 1400, midi_input({}, {}, note_on(channel(1), n(72), n(80))));
        hear(house, 1, 1500, midi_input({}, {}, note_off(channel(1), n(72))));
        hear(house, 1, 2000, {{}, source_again, InputKind::port_lost, {}});
        hear(house, 1, 2100, command_input({}, Command::bypass_off));
        hear(house, 1, 2200, midi_input({}, {}, note_on(channel(1), n(76), n(80))));
        hear(house, 1, 3000, {{}, source_again, InputKind::port_lost, {}});
        hear(house, 1, 3100, {{}, source_again, InputKind::gap, {}});
        const std::int64_t key = by_hand == 0 ? 4000 : by_hand;
        house.play(key, note_on(channel(2), n(69), n(80)));
        house.play(key + 200, note_off(channel(2), n(69)));
        house.run_to(1300);
        Snapshot now;
        house.lines->snapshots[0].read(now);
        CHECK(now.bypassed == (by_hand != 1200));
        house.run_to(6000);
        CHECK(house.left_on(0) == 0);
        house.lines->snapshots[0].read(now);
        CHECK_FALSE(now.bypassed);
        CHECK_FALSE(now.sounding);
        CHECK(now.loudness.value == doctest::Approx(100 / 127.0));
        CHECK(house.lines->hearing.load() == 0);
        house.lines->snapshots[1].read(now);
        CHECK(now.notes == 1); // the key by hand was played
        if (by_hand != 0) CHECK(house.lines->hearing_stopped_by.load() == at(key).ns);
        const TakeSpan span{house.journal.inputs.front().at, house.journal.inputs.back().at};
        CHECK_FALSE(replayed(house.journal, span, settings.players[0].config, 0).difference);
    }
}

TEST_CASE("a take of the first of several players knows its player again, though the song's file is gone")
{
    const studio_test::Folder folder;
    std::filesystem::create_directory_symlink(studio_test::shipped / "instruments", folder.path() / "instruments");
    std::filesystem::create_directory_symlink(studio_test::shipped / "targets", folder.path() / "targets");
    const std::string text = "version = 1\n" + std::string{quintet} + "[time]\nmap = \"gone.mid\"\n";
    const Overrides without_song{{}, {}, true};
    const Loaded first = load_configuration(folder.write("bowarm.toml", text), without_song);
    REQUIRE(std::holds_alternative<Settings>(first));
    const Loaded again = settings_of(texts_of(std::get<Settings>(first)));
    if (!std::holds_alternative<Settings>(again)) FAIL(studio_test::lines(studio_test::problems_of(again)));
    const PlayerConfig &then = std::get<Settings>(first).player, &now = std::get<Settings>(again).player;
    CHECK(now.name == then.name);
    CHECK(now.instrument.name == then.instrument.name);
    CHECK(now.target.channel == then.target.channel);
    CHECK(std::holds_alternative<std::vector<Problem>>(load_configuration(folder.path() / "bowarm.toml", {})));
}

TEST_CASE("sixty-four players sound at once, nothing hangs and nothing is taken from the heap")
{
    House house{settings_from_text(many(64))};
    house.run_to(2);
    std::size_t allocations = 0;
    const auto run_to = [&](std::int64_t ms) {
        for (; house.now < ms; ++house.now) {
            {
                const AllocationCount count;
                house.engine.turn(at(house.now));
                allocations += count.count();
            }
            house.collect();
        }
    };
    house.play(10, note_on(Channel{}, n(67), n(80)));
    run_to(500);
    house.play(510, note_off(Channel{}, n(67)));
    run_to(1500);
    CHECK(allocations == 0);
    for (std::size_t output = 0; output < 4; ++output) {
        CHECK(std::count_if(house.sent[output].begin(), house.sent[output].end(),
                            [](const Message& m) { return m.is_note_on() && m.first().get() == 67; }) == 16);
        CHECK(house.left_on(output) == 0);
    }
}
