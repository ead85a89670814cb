// Workloads
//   input_and_wake   a quarter of an hour of random playing: time an input or a wake, all curves of one player together
//   song             a steady line of half-second notes with a moving loudness: how many times faster than real time
//   wake_in_a_note   one long note: time a wake
#include "player/random_playing.hpp"

#include <benchmark/benchmark.h>

using namespace bowarm;
using namespace bowarm::test;

namespace {

class Counting final : public Sink {
public:
    void bundle(Time, std::span<const Message> m) noexcept override { out += m.size(); }
    void curve(Time, Controller, int) noexcept override { ++out; }
    void fact(const Fact&) noexcept override {}
    std::size_t out{0};
};

std::size_t run(Player& player, const std::vector<Input>& inputs, Sink& sink)
{
    std::size_t calls = 0;
    for (const Input& input : inputs) {
        while (player.next_wake() <= input.at && player.next_wake() != Time::never()) {
            player.wake(sink);
            ++calls;
        }
        player.on(input, sink);
        ++calls;
    }
    return calls;
}

std::vector<Input> song()
{
    std::vector<Input> inputs;
    for (int i = 0; i < 600; ++i) {
        const Time at = at_ms(i * 500);
        inputs.push_back(midi_input(at, Source{0}, note_on(Channel{}, Midi7::nearest(62 + i % 12), Midi7::nearest(70))));
        for (int k = 1; k < 10; ++k) {
            const Message loudness = control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(50 + (i + 3 * k) % 50));
            inputs.push_back(midi_input(at + milliseconds(45 * k), Source{0}, loudness));
        }
        inputs.push_back(midi_input(at + milliseconds(450), Source{0}, note_off(Channel{}, Midi7::nearest(62 + i % 12))));
    }
    return inputs;
}

void input_and_wake(benchmark::State& state)
{
    const auto inputs = random_playing(1, 6'000);
    std::size_t calls = 0;
    Counting sink;
    for (auto _ : state) {
        Player player{random_config(1)};
        calls += run(player, inputs, sink);
    }
    state.counters["each"] = benchmark::Counter(static_cast<double>(calls), benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}
BENCHMARK(input_and_wake)->Unit(benchmark::kMillisecond);

void song_times_real_time(benchmark::State& state)
{
    const auto inputs = song();
    Counting sink;
    for (auto _ : state) {
        Player player{violin_config()};
        run(player, inputs, sink);
    }
    const double seconds_of_music = to_seconds(inputs.back().at - Time{}).value;
    state.counters["times_real_time"] = benchmark::Counter(seconds_of_music * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}
BENCHMARK(song_times_real_time)->Unit(benchmark::kMillisecond);

void wake_in_a_note(benchmark::State& state)
{
    Player player{violin_config()};
    Counting sink;
    player.on(midi_input(Time{}, Source{0}, note_on(Channel{}, Midi7::nearest(69), Midi7::nearest(60))), sink);
    for (auto _ : state) player.wake(sink);
}
BENCHMARK(wake_in_a_note);

} // namespace

BENCHMARK_MAIN();
