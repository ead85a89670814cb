// Workloads
//   input_and_wake   random playing: time an input or a wake, all curves of one player together
//   song             half-second notes with a moving loudness: how many times faster than real time
//   wake_in_a_note   one long note: time a wake
//   plan             speed, force and contact point for one demand
#include "bench/workload.hpp"

#include "bow/plan.hpp"

#include <benchmark/benchmark.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

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
    state.counters["times_real_time"] =
        benchmark::Counter(seconds_of_music * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
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

void plan(benchmark::State& state)
{
    const Planner planner(violin());
    Demand demand;
    demand.hair_left = Metres{0.3};
    demand.remaining = Seconds{1};
    double loudness = 0;
    for (auto _ : state) {
        loudness = loudness > 0.9 ? 0 : loudness + 0.01;
        demand.loudness = Loudness{loudness};
        benchmark::DoNotOptimize(planner.plan(demand));
    }
}
BENCHMARK(plan);

} // namespace

BENCHMARK_MAIN();
