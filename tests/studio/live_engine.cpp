// The engine's turns and its thread: late turns change when, never what; losses release; nothing is allocated.
#include "live_counting.hpp"
#include "live_fake.hpp"
#include "live_player.hpp"

#include "studio/engine_thread.hpp"
#include "studio/live_engine.hpp"
#include "studio/sender.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <memory>
#include <thread>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

void drain(TakeQueue& queue, Recorder& take)
{
    TakeItem item;
    while (queue.pop(item)) {
        if (const auto* input = std::get_if<Input>(&item.what)) {
            take.input(*input);
        } else if (const auto* fact = std::get_if<Fact>(&item.what)) {
            take.fact(*fact);
        } else if (const auto* d = std::get_if<Decision>(&item.what)) {
            take.decided(d->at, d->note, d->needs, d->direction, d->retake);
        } else if (const auto& out = std::get<OutItem>(item.what); out.count == 0) {
            take.curve(out.at, out.controller, out.value);
        } else {
            take.bundle(out.at, {out.messages.data(), out.count});
        }
    }
}

bool same(const std::vector<SentMessage>& one, const std::vector<SentMessage>& other)
{
    return std::equal(one.begin(), one.end(), other.begin(), other.end(),
                      [](const SentMessage& a, const SentMessage& b) { return a.at == b.at && a.message == b.message; });
}

int notes_left_on(const std::vector<SentMessage>& sent)
{
    int held[16][128] = {}, left = 0;
    for (const SentMessage& s : sent) {
        int& count = held[s.message.channel().get()][s.message.first().get()];
        if (s.message.is_note_on()) ++count;
        if (s.message.is_note_off()) --count;
    }
    for (const auto& channel : held)
        for (const int count : channel) left += count > 0 ? count : 0;
    return left;
}

std::size_t note_ons(const std::vector<SentMessage>& sent)
{
    std::size_t count = 0;
    for (const SentMessage& s : sent) count += s.message.is_note_on() ? 1U : 0U;
    return count;
}

bool has_input(const Recorder& take, InputKind kind)
{
    for (const Input& input : take.inputs())
        if (input.kind == kind) return true;
    return false;
}

} // namespace

TEST_CASE("a script played with late turns gives the messages of replay, at the same logical times")
{
    for (const std::uint32_t seed : {1U, 2U, 3U, 4U, 5U}) {
        CAPTURE(seed);
        const std::vector<Input> inputs = tune(seed, 40);
        const std::vector<SentMessage> expected = played_directly(inputs);
        REQUIRE(note_ons(expected) >= 40);

        const auto lines = std::make_unique<Lines>();
        LiveEngine engine{ensemble_of(packaged_violin(), *lines), inputs, *lines};
        Recorder take;
        Dice dice{seed + 100};
        Time now{};
        // Turns come up to 150 ms late, and sometimes much too early.
        for (int i = 0; i < 20'000 && !lines->counts.script_over.load(); ++i) {
            now = now + Duration{dice.below(150'000'000)};
            engine.turn(now);
            drain(lines->take, take);
        }
        CHECK(lines->counts.script_over.load());
        CHECK(same(take.sent(), expected));
    }
}

TEST_CASE("two keyboards are merged by their stamps, and a stamp of the past is moved to the present")
{
    const auto lines = std::make_unique<Lines>();
    LiveEngine engine{ensemble_of(packaged_violin(), *lines), {}, *lines};
    const auto key = [](std::int64_t ms, std::uint8_t source, int pitch) {
        return midi_input(Time{} + milliseconds(ms), {source}, note_on(Channel{}, Midi7::nearest(pitch), Midi7::nearest(80)));
    };
    lines->feeds[0].queue.push(key(10, 0, 60));
    lines->feeds[0].queue.push(key(30, 0, 62));
    lines->feeds[1].queue.push(key(20, 1, 64));
    engine.turn(Time{} + milliseconds(40));
    lines->feeds[1].queue.push(key(5, 1, 67)); // held up on its way
    engine.turn(Time{} + milliseconds(60));
    lines->feeds[0].queue.push(key(90, 0, 69)); // of the future: not yet
    engine.turn(Time{} + milliseconds(70));

    Recorder take;
    drain(lines->take, take);
    REQUIRE(take.inputs().size() == 4);
    const int expected[] = {60, 64, 62, 67};
    for (std::size_t i = 0; i < 4; ++i) CHECK(take.inputs()[i].data[1] == expected[i]);
    for (std::size_t i = 1; i < 4; ++i) CHECK(take.inputs()[i].at >= take.inputs()[i - 1].at);
    CHECK(take.inputs()[3].at >= Time{} + milliseconds(30));
    CHECK(take.inputs()[3].at <= Time{} + milliseconds(60));
}

TEST_CASE("a flooded port loses events: that is a gap, and the port's keys are released")
{
    const auto lines = std::make_unique<Lines>();
    LiveEngine engine{ensemble_of(packaged_violin(), *lines), {}, *lines};
    lines->feeds[3].assign({0});
    Recorder take;
    const auto at = [](std::int64_t ms) { return Time{} + milliseconds(ms); };
    lines->feeds[3].queue.push(midi_input(at(1), {0}, note_on(Channel{}, Midi7::nearest(67), Midi7::nearest(80))));
    engine.turn(at(2));
    drain(lines->take, take);
    REQUIRE(notes_left_on(take.sent()) == 1);

    // The note-off is among those that find the ring full.
    for (int i = 0; i < 5000; ++i)
        lines->feeds[3].queue.push(midi_input(at(3), {0}, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(i % 128))));
    lines->feeds[3].queue.push(midi_input(at(3), {0}, note_off(Channel{}, Midi7::nearest(67))));
    for (int ms = 4; ms < 3000; ++ms) {
        engine.turn(at(ms));
        drain(lines->take, take);
    }
    CHECK(has_input(take, InputKind::gap));
    CHECK(lines->counts.lost_inputs.load() > 2000);
    CHECK(notes_left_on(take.sent()) == 0);
}

TEST_CASE("a lost port releases its keys")
{
    const auto lines = std::make_unique<Lines>();
    LiveEngine engine{ensemble_of(packaged_violin(), *lines), {}, *lines};
    const auto at = [](std::int64_t ms) { return Time{} + milliseconds(ms); };
    lines->feeds[0].queue.push(midi_input(at(1), {0}, note_on(Channel{}, Midi7::nearest(67), Midi7::nearest(80))));
    engine.turn(at(500));
    lines->from_ports.push({at(501), {0}, InputKind::port_lost, {}});
    for (int ms = 501; ms < 3000; ms += 10) engine.turn(at(ms));
    Recorder take;
    drain(lines->take, take);
    CHECK(note_ons(take.sent()) >= 1);
    CHECK(notes_left_on(take.sent()) == 0);
}

TEST_CASE("a full queue to a sender is seen, counted, and the take has everything all the same")
{
    const auto lines = std::make_unique<Lines>();
    const std::vector<Input> inputs = tune(7, 1200); // the queue holds 1024 bundles and curve values
    LiveEngine engine{ensemble_of(packaged_violin(), *lines), inputs, *lines};
    lines->outs[0].make_room();
    lines->outs[0].in_use.store(true); // but nobody takes from it
    Recorder take;
    for (Time now{}; !lines->counts.script_over.load() && now < Time{900'000'000'000}; now = now + milliseconds(5)) {
        engine.turn(now);
        drain(lines->take, take);
    }
    CHECK(lines->outs[0].overflowed.load());
    CHECK(lines->outs[0].dropped.load() > 0);
    CHECK(same(take.sent(), played_directly(inputs)));
}

TEST_CASE("the engine's turns take nothing from the heap")
{
    if (!can_count_allocations()) return; // under a sanitizer
    const auto lines = std::make_unique<Lines>();
    const std::vector<Input> inputs = tune(11, 300);
    LiveEngine engine{ensemble_of(packaged_violin(), *lines), inputs, *lines};
    for (OutQueue& out : lines->outs) {
        out.make_room();
        out.in_use.store(true);
    }
    {
        const AllocationCount count;
        auto seen = std::make_unique<int>(1); // the count counts
        CHECK(count.count() >= 1);
    }
    std::size_t allocations = 0;
    TakeItem item;
    Dice dice{12};
    for (Time now{}; !lines->counts.script_over.load() && now < Time{900'000'000'000}; now = now + Duration{dice.below(9'000'000)}) {
        lines->feeds[2].received(std::array<std::uint8_t, 3>{0xB0, 1, static_cast<std::uint8_t>(dice.below(128))});
        {
            const AllocationCount count;
            engine.turn(now);
            allocations += count.count();
        }
        while (lines->take.pop(item)) {
        }
    }
    CHECK(lines->counts.script_over.load());
    CHECK(allocations == 0);
}

TEST_CASE("threads: a sampler that comes while nobody plays is told all at once, so that the first note is not cut off by it")
{
    const auto lines = std::make_shared<Lines>();
    const auto world = std::make_shared<FakeWorld>();
    EngineThread engine{LiveEngine{ensemble_of(packaged_violin(), *lines), {}, *lines}, *lines};
    engine.start();
    std::this_thread::sleep_for(std::chrono::milliseconds(100)); // now it sleeps
    const auto sender = Sender::make(
        std::make_unique<FakeOutput>(world, "bowarm test:out"), lines->outs[0], {}, true, [](std::unique_ptr<OutputPort>) {}, lines);
    const auto soon = [](auto condition) {
        for (int i = 0; i < 3000 && !condition(); ++i) std::this_thread::sleep_for(std::chrono::milliseconds(1));
        return condition();
    };
    CHECK(soon([&] { return lines->outs[0].in_use.load() && !lines->outs[0].wants_state.load(); }));
    lines->feeds[0].received(std::array<std::uint8_t, 3>{0x90, 67, 90});
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    int ons = 0, offs = 0;
    for (const Message& message : world->take_sent()) {
        ons += message.is_note_on() ? 1 : 0;
        offs += message.is_note_off() ? 1 : 0;
    }
    CHECK(ons == 1);
    CHECK(offs == 0);
    engine.stop();
    sender->finish();
    CHECK(soon([&] { return sender->ended(); }));
}

TEST_CASE("threads: live playing through the engine's thread is what replaying its take gives")
{
    const auto lines = std::make_unique<Lines>();
    EngineThread engine{LiveEngine{ensemble_of(packaged_violin(), *lines), {}, *lines}, *lines};
    engine.start();
    std::thread keyboard{[&] {
        Dice dice{21};
        for (const Input& input : tune(20, 25)) {
            const std::int64_t due = lines->clock.monotonic(input.at) + dice.below(8'000'000);
            std::this_thread::sleep_for(std::chrono::nanoseconds{due - monotonic_ns()});
            lines->feeds[0].received({input.data.data(), input.data[7]});
        }
    }};
    std::thread pedal{[&] {
        Dice dice{22};
        for (int i = 0; i < 400; ++i) {
            lines->feeds[1].received(std::array<std::uint8_t, 3>{0xB0, 11, static_cast<std::uint8_t>(40 + i % 60)});
            std::this_thread::sleep_for(std::chrono::microseconds{dice.below(9000)});
        }
    }};
    Recorder take;
    const auto collect_for = [&](int ms) {
        for (int i = 0; i < ms; i += 5) {
            drain(lines->take, take);
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
        }
    };
    collect_for(3000);
    keyboard.join();
    pedal.join();
    collect_for(2000);
    engine.stop();
    drain(lines->take, take);

    CHECK(lines->take.lost.load() == 0);
    CHECK(note_ons(take.sent()) >= 25);
    CHECK(notes_left_on(take.sent()) == 0);
    for (std::size_t i = 1; i < take.inputs().size(); ++i) REQUIRE(take.inputs()[i].at >= take.inputs()[i - 1].at);
    CHECK(same(take.sent(), played_directly(take.inputs())));
    MESSAGE("latest wake: " << static_cast<double>(lines->counts.latest_wake_ns.load()) * 1e-6 << " ms late");
}
