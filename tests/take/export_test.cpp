// One file of a take: tempo and meter, played, sent, markers; read back and bowed again it has the same notes.  Two takes joined.
#include "take/joined.hpp"
#include "take/performance.hpp"
#include "take/take.hpp"

#include "player/random_playing.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <bitset>
#include <map>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

Recorder performed(const std::vector<Input>& inputs)
{
    Recorder take;
    Player player{violin_config()};
    perform(player, inputs, inputs.back().at, take);
    return take;
}

StandardFile read(const std::vector<std::uint8_t>& bytes)
{
    auto file = read_standard_file(bytes);
    REQUIRE(std::holds_alternative<StandardFile>(file));
    return std::get<StandardFile>(std::move(file));
}

std::map<int, std::vector<std::pair<int, int>>> notes_of(const std::vector<Input>& inputs)
{
    std::map<int, std::vector<std::pair<int, int>>> notes;
    for (const Input& i : inputs)
        if (i.kind == InputKind::midi && as_message(i).is_note_on())
            notes[as_message(i).channel().get()].emplace_back(as_message(i).first().get(), as_message(i).second().get());
    // A file has ticks: notes that are nearer than one may change places.
    for (auto& [channel, in_channel] : notes) std::sort(in_channel.begin(), in_channel.end());
    return notes;
}

// A quarter a second in 4/4, keys[i] on beat i; the hand that many nanoseconds late.
std::vector<Input> quarters(const std::vector<int>& keys, Duration late)
{
    std::vector<Input> inputs{tempo_input(Time{}, 1'000'000), meter_input(Time{}, 4, 2)};
    for (std::size_t i = 0; i < keys.size(); ++i) {
        const Time at = Time{static_cast<std::int64_t>(i) * 1'000'000'000} + late;
        inputs.push_back(midi_input(at, {0}, note_on(Channel{}, Midi7::nearest(keys[i]), Midi7::nearest(70))));
        inputs.push_back(midi_input(at + milliseconds(1200), {0}, note_off(Channel{}, Midi7::nearest(keys[i]))));
    }
    std::stable_sort(inputs.begin(), inputs.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
    return inputs;
}

} // namespace

TEST_CASE("an export has what was played on one track and what was sent on another, and its markers name strokes and warnings")
{
    const auto inputs = quarters({67, 69, 71, 72, 74, 76, 78, 79}, milliseconds(3));
    const Recorder take = performed(inputs);
    const auto bytes = take_as_midi_file(take);
    const StandardFile file = read(bytes);
    CHECK(file.format == 1);
    REQUIRE(file.track_names == std::vector<std::string>{"tempo and meter", "played", "sent"});
    std::size_t played = 0, sent = 0, tempos = 0, meters = 0;
    for (const FileEvent& e : file.events) {
        if (e.track == 0) CHECK(e.message() == nullptr);
        tempos += std::holds_alternative<TempoChange>(e.what) ? 1 : 0;
        meters += std::holds_alternative<MeterChange>(e.what) ? 1 : 0;
        if (e.message() == nullptr) continue;
        (e.track == 1 ? played : sent) += 1;
    }
    CHECK(tempos == 1);
    CHECK(meters == 1);
    CHECK(played == 16);
    CHECK(sent == take.sent().size());
    // RP-001: FF 06 length text.  A stroke that is told again has a marker each time.
    const std::string text{bytes.begin(), bytes.end()};
    std::size_t markers = 0;
    for (std::size_t at = text.find("\xFF\x06"); at != std::string::npos; at = text.find("\xFF\x06", at + 1)) ++markers;
    const auto told = std::count_if(take.facts().begin(), take.facts().end(),
                                    [](const Fact& f) { return f.kind == FactKind::stroke_began || f.kind == FactKind::warning; });
    REQUIRE(told > 0);
    CHECK(markers == static_cast<std::size_t>(told));
    CHECK(text.find("\xFF\x06\x04"
                    "down") != std::string::npos);
}

TEST_CASE("exported, read again and bowed again: the same notes, whatever was played")
{
    for (unsigned seed = 1; seed <= 60; ++seed) {
        CAPTURE(seed);
        const Recorder take = performed(random_playing(seed, 150));
        StandardFile file = read(take_as_midi_file(take));
        leave_what_was_played(file);
        const std::vector<Input> again = inputs_of(file, Source{0});
        CHECK(notes_of(again) == notes_of(take.inputs()));
        const Recorder second = performed(again);
        CHECK(notes_of(second.inputs()) == notes_of(take.inputs()));
    }
}

TEST_CASE("a file with other tracks is left as it is")
{
    StandardFile file;
    file.track_names = {"", "sent", "melody"};
    file.events.push_back({0, {}, 1, note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(60))});
    leave_what_was_played(file);
    CHECK(file.events.size() == 1);
}

TEST_CASE("two takes joined at a bar: the first's notes before it, the second's from it on, and one bow over the seam")
{
    const std::vector<int> first_keys{67, 69, 71, 72, 74, 76, 78, 79, 81, 79, 78, 76},
        second_keys{60, 62, 64, 65, 67, 69, 71, 72, 74, 72, 71, 69};
    const Recorder first = performed(quarters(first_keys, milliseconds(4)));
    // A hand that comes 40 ms early means the beat all the same.
    auto early = quarters(second_keys, milliseconds(500));
    for (Input& input : early)
        if (input.kind == InputKind::midi) input.at = input.at - milliseconds(540);
    std::erase_if(early, [](const Input& i) { return i.at < Time{}; });
    const Recorder second = performed(early);
    for (const int bar : {2, 3}) {
        CAPTURE(bar);
        const auto a = bar_line(first, bar), b = bar_line(second, bar);
        REQUIRE(a);
        REQUIRE(b);
        CHECK(to_seconds(a->at - Time{}).value == doctest::Approx(4.0 * (bar - 1)).epsilon(0.001));
        const auto inputs = joined(first, *a, second, *b);
        CHECK(std::is_sorted(inputs.begin(), inputs.end(), [](const Input& x, const Input& y) { return x.at < y.at; }));
        CHECK_FALSE(leaves_keys_down(inputs));
        std::vector<int> expected(first_keys.begin(), first_keys.begin() + 4 * (bar - 1)), heard;
        expected.insert(expected.end(), second_keys.begin() + 4 * (bar - 1), second_keys.end());
        for (const Input& i : inputs)
            if (i.kind == InputKind::midi && as_message(i).is_note_on()) heard.push_back(as_message(i).first().get());
        CHECK(heard == expected);
        // Legal at the seam: each stroke begins where the one before left the bow, or lifts it.
        const Recorder bowed = performed(inputs);
        std::optional<HairFraction> left;
        for (const Fact& f : bowed.facts()) {
            if (f.kind == FactKind::stroke_began) {
                if (left && !f.retake) CHECK(f.hair_from.value == doctest::Approx(left->value).epsilon(0.01));
                CHECK((f.hair_from.value >= 0 && f.hair_from.value <= 1));
            }
            if (f.kind == FactKind::stroke_ended) left = f.hair_to;
        }
        CHECK(left);
    }
    CHECK_FALSE(bar_line(first, 9));
}

TEST_CASE("notes that a lap cuts off end with the file")
{
    Recorder take;
    take.begin_at(Time{});
    take.input(midi_input(Time{0}, {0}, note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(60))));
    const Message on = note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(60));
    take.bundle(Time{1}, {&on, 1});
    for (const auto& bytes : {played_as_midi_file(take), sent_as_midi_file(take), take_as_midi_file(take)}) {
        int down = 0;
        for (const FileEvent& e : read(bytes).events) {
            if (e.message() == nullptr) continue;
            if (e.message()->is_note_on()) ++down;
            if (e.message()->is_note_off()) --down;
        }
        CHECK(down == 0);
    }
}

TEST_CASE("of several players each is moved back by its own delay, none before the beginning")
{
    const Recorder take = performed(quarters({67, 69, 71, 72}, milliseconds(500)));
    const NamedTake takes[] = {{"violin 1", take}, {"violin 2", take, milliseconds(200)}, {"viola", take, milliseconds(10'000)}};
    const StandardFile file = read(sent_as_midi_file(takes));
    CHECK(file.track_names == std::vector<std::string>{"tempo and meter", "violin 1", "violin 2", "viola"});
    std::map<int, std::vector<Time>> onsets; // by track, of the notes that sound; keyswitches are lower
    for (const FileEvent& e : file.events)
        if (e.message() != nullptr && e.message()->is_note_on() && e.message()->first().get() >= 55) onsets[e.track].push_back(e.at);
    REQUIRE(onsets[1].size() == 4);
    REQUIRE(onsets[2].size() == 4);
    for (std::size_t i = 0; i < 4; ++i) {
        const Duration earlier = onsets[1][i] - onsets[2][i];
        CHECK(earlier > milliseconds(198)); // a tick is 1.04 ms
        CHECK(earlier < milliseconds(202));
    }
    for (const Time at : onsets[3]) CHECK(at == Time{});
}
