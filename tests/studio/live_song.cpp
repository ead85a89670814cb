// A song that runs: time code, passes that begin in the middle, and takes that are heard again.
#include "live_house.hpp"

#include "studio/song_map.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

using namespace bowarm;
using namespace bowarm::test;

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

// MIDI 1.0: song position in sixteenths, low half first; start, continue, clock.
const Message song_start{{0xFA, 0, 0}, 1}, song_goes_on{{0xFB, 0, 0}, 1}, song_clock{{0xF8, 0, 0}, 1};
Message song_at(int sixteenths)
{
    return {{0xF2, static_cast<std::uint8_t>(sixteenths & 0x7F), static_cast<std::uint8_t>(sixteenths >> 7)}, 3};
}

TEST_CASE("a pass that begins in the middle begins as the last one stood there: bow, switches, pedals, and and is played again alike")
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
