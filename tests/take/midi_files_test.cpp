#include "midi/standard_file.hpp"
#include "take/take.hpp"

#include <doctest/doctest.h>
#include <random>

using namespace bowarm;

namespace
{

StandardFile read(const std::vector<std::uint8_t>& bytes)
{
    const FileRead result = read_standard_file(bytes);
    REQUIRE(std::holds_alternative<StandardFile>(result));
    CHECK(std::get<StandardFile>(result).warnings.empty());
    return std::get<StandardFile>(result);
}

Message note(int key) { return note_on({}, Midi7::nearest(key), Midi7::nearest(90)); }

void send(Recorder& take, Time at, const Message& message) { take.bundle(at, {&message, 1}); }

// Only the channel messages.
std::vector<FileEvent> messages(const StandardFile& file)
{
    std::vector<FileEvent> found;
    for (const FileEvent& event : file.events)
        if (event.message() != nullptr) found.push_back(event);
    return found;
}

} // namespace

TEST_CASE("without a tempo the file is in 120, the default of RP-001")
{
    Recorder take;
    send(take, {500'000'000}, note(60));
    const StandardFile file = read(sent_as_midi_file(take));
    CHECK(file.format == 1);
    CHECK(file.division == 960);
    REQUIRE(messages(file).size() == 2); // and its end, where the file ends
    CHECK(messages(file)[0].tick == 960);
    CHECK(messages(file)[0].at.ns == 500'000'000);
}

TEST_CASE("tempo and meter as heard stand in the file and the notes on their beats")
{
    Recorder take;
    take.input(tempo_input({0}, 600'000));
    take.input(meter_input({0}, 3, 2));
    take.input(tempo_input({1'800'000'000}, 1'000'000));
    send(take, {1'800'000'000}, note(60));
    send(take, {2'800'000'000}, note(62));
    const StandardFile file = read(sent_as_midi_file(take));
    REQUIRE(file.events.size() == 7); // with the ends of both notes
    CHECK(std::get<TempoChange>(file.events[0].what) == TempoChange{600'000});
    CHECK(std::get<MeterChange>(file.events[1].what) == MeterChange{3, 2});
    CHECK(messages(file)[0].tick == 3 * 960);
    CHECK(messages(file)[1].tick == 4 * 960);
}

TEST_CASE("the bundle's order is the file's order")
{
    Recorder take;
    const Message bundle[] = {control_change({}, Midi7::nearest(11), Midi7::nearest(64)), program_change({}, Midi7::nearest(3)),
                              note_off({}, Midi7::nearest(60))};
    take.bundle({10'000'000}, bundle);
    take.curve({10'000'000}, {{}, ControllerKind::control_change, Midi7::nearest(1)}, 5);
    const auto found = messages(read(sent_as_midi_file(take)));
    REQUIRE(found.size() == 4);
    CHECK(*found[0].message() == bundle[0]);
    CHECK(*found[1].message() == bundle[1]);
    CHECK(*found[2].message() == bundle[2]);
    CHECK(*found[3].message() == control_change({}, Midi7::nearest(1), Midi7::nearest(5)));
}

TEST_CASE("after a thousand tempo changes an event is still within half a tick and a nanosecond")
{
    std::mt19937_64 random(5);
    Recorder take;
    std::int64_t now = 0;
    std::vector<std::int64_t> sent;
    std::int64_t longest_tick = 0;
    for (int i = 0; i < 1000; ++i) {
        const auto tempo = static_cast<std::uint32_t>(200'000 + random() % 1'000'000);
        longest_tick = std::max<std::int64_t>(longest_tick, tempo * 1000LL / 960);
        take.input(tempo_input({now}, tempo));
        now += static_cast<std::int64_t>(random() % 700'000'000);
        send(take, {now}, control_change({}, Midi7::nearest(11), Midi7::nearest(i % 128)));
        sent.push_back(now);
    }
    const auto found = messages(read(sent_as_midi_file(take)));
    REQUIRE(found.size() == sent.size());
    for (std::size_t i = 0; i < sent.size(); ++i) {
        CAPTURE(i);
        CHECK(std::abs(found[i].at.ns - sent[i]) <= longest_tick / 2 + 1);
    }
}

TEST_CASE("what was played is kept without clocks, from the origin on")
{
    Recorder take;
    take.begin_at({3'000'000'000});
    take.input(midi_input({3'000'000'000}, Source{0}, note(60)));
    take.input(midi_input({3'100'000'000}, Source{0}, {{0xF8, 0, 0}, 1}));
    take.input(midi_input({4'000'000'000}, Source{1}, note_off({}, Midi7::nearest(60))));
    take.input({{4'100'000'000}, Source{0}, InputKind::port_lost, {}});
    const StandardFile file = read(played_as_midi_file(take));
    const auto found = messages(file);
    REQUIRE(found.size() == 2);
    CHECK(found[0].tick == 0);
    CHECK(found[1].tick == 1920);
    CHECK(file.end.ns == 1'100'000'000);
}

TEST_CASE("an empty take is a valid file")
{
    const StandardFile file = read(sent_as_midi_file(Recorder{}));
    CHECK(file.events.empty());
    CHECK(file.track_names.size() == 2);
}

// MIDI 1.0 Detailed Specification 4.2.1: 14-bit controllers high half first, pitch bend low half first.
TEST_CASE("a curve value becomes the messages of its controller")
{
    const auto of = [](ControllerKind kind, int value) { return curve_messages({{}, kind, Midi7::nearest(2)}, value); };
    CHECK(of(ControllerKind::control_change, 100)[0] == control_change({}, Midi7::nearest(2), Midi7::nearest(100)));
    CHECK(of(ControllerKind::control_change, 300)[0].bytes[2] == 127);
    const auto fine = of(ControllerKind::control_change_14, 0x1234);
    REQUIRE(fine.size() == 2);
    CHECK((fine[0].bytes == std::array<std::uint8_t, 3>{0xB0, 2, 0x24}));
    CHECK((fine[1].bytes == std::array<std::uint8_t, 3>{0xB0, 34, 0x34}));
    CHECK((of(ControllerKind::pitch_bend, 8192)[0].bytes == std::array<std::uint8_t, 3>{0xE0, 0x00, 0x40}));
    CHECK((of(ControllerKind::channel_pressure, 9)[0].bytes == std::array<std::uint8_t, 3>{0xD0, 9, 0}));
}
