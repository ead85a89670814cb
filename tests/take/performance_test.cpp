#include "take/performance.hpp"

#include "studio/configuration.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <map>

using namespace bowarm;

namespace
{

Midi7 seven(int n) { return Midi7::nearest(n); }

PlayerConfig packaged()
{
    const Loaded loaded = load_configuration(std::filesystem::path{BOWARM_SOURCE_DIR} / "config" / "bowarm.toml", {});
    if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded)) FAIL(problems->front().line());
    return std::get<Settings>(loaded).player;
}

FileEvent event(std::int64_t ms, decltype(FileEvent::what) what) { return {ms, Time{} + milliseconds(ms), 0, what}; }

// Note-ons without their note-off, by channel and key, at the target.
std::map<int, int> left_sounding(const Recorder& take)
{
    std::map<int, int> keys;
    for (const SentMessage& sent : take.sent()) {
        const int key = sent.message.channel().get() * 128 + sent.message.first().get();
        if (sent.message.is_note_on()) ++keys[key];
        if (sent.message.is_note_off()) --keys[key];
    }
    std::erase_if(keys, [](const auto& key) { return key.second == 0; });
    return keys;
}

} // namespace

TEST_CASE("a player hears a file's messages from the keyboard and its beat from the file")
{
    StandardFile file;
    file.events = {event(0, TempoChange{600'000}), event(0, MeterChange{3, 2}), event(0, KeyChange{1, false}),
                   event(5, note_on({}, seven(60), seven(70)))};
    const std::vector<Input> inputs = inputs_of(file, Source{2});
    REQUIRE(inputs.size() == 3);
    CHECK(inputs[0].kind == InputKind::tempo);
    CHECK(inputs[0].source == source_file);
    CHECK(microseconds_a_quarter(inputs[0]) == 600'000);
    CHECK(inputs[1].kind == InputKind::meter);
    CHECK(inputs[2].source == Source{2});
    CHECK(inputs[2].at == Time{} + milliseconds(5));
    CHECK(inputs[2].data[7] == 3);
}

TEST_CASE("keys left down are noticed, a velocity of 0 lets them go")
{
    const auto input = [](const Message& m) { return midi_input({}, Source{0}, m); };
    const Input down = input(note_on({}, seven(60), seven(70)));
    const Input up = input(note_on({}, seven(60), seven(0)));
    CHECK(leaves_keys_down(std::vector{down}));
    CHECK(!leaves_keys_down(std::vector{down, up}));
    CHECK(leaves_keys_down(std::vector{up, down}));
    CHECK(!leaves_keys_down({}));
}

TEST_CASE("a note that a file never ends is ended with the file, and all is silent")
{
    Player player(packaged());
    StandardFile file;
    file.events = {event(0, note_on({}, seven(67), seven(70))), event(400, note_off({}, seven(67))),
                   event(500, note_on({}, seven(69), seven(70)))};
    const Time end = Time{} + milliseconds(1500);
    Recorder take;
    CHECK(perform(player, inputs_of(file, Source{0}), end, take));
    CHECK(player.next_wake() == Time::never());
    CHECK(take.inputs().back().kind == InputKind::port_lost);
    CHECK(take.inputs().back().at == end);
    const auto note_ons =
        std::count_if(take.sent().begin(), take.sent().end(), [](const SentMessage& s) { return s.message.is_note_on(); });
    CHECK(note_ons >= 2);
    CHECK(left_sounding(take).empty());
    CHECK(std::is_sorted(take.sent().begin(), take.sent().end(), [](const SentMessage& a, const SentMessage& b) { return a.at < b.at; }));
}

TEST_CASE("keys left down are let go on the inputs they came from, whatever the last event was")
{
    Player player(packaged());
    const auto key = [](std::int64_t ms, std::uint8_t source, int pitch) {
        return midi_input(Time{} + milliseconds(ms), Source{source}, note_on({}, seven(pitch), seven(70)));
    };
    const std::vector<Input> inputs{key(0, 0, 62), key(500, 1, 69), tempo_input(Time{} + milliseconds(900), 400'000)};
    Recorder take;
    CHECK(perform(player, inputs, Time{} + milliseconds(1000), take));
    CHECK(left_sounding(take).empty());
    CHECK(player.next_wake() == Time::never());
}

TEST_CASE("a file without notes is played in silence")
{
    Player player(packaged());
    Recorder take;
    CHECK(perform(player, {}, Time{} + milliseconds(10), take));
    CHECK(left_sounding(take).empty());
}
