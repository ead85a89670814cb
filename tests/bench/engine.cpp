// Workloads
//   events/NAME         a workload of workload.hpp: ns an event (input or wake, all curves of one player together) and a curve value
//   players/N           N players who all hear the song, in one house without threads: ns an event of one of them
//   song_times_real_time  how many times faster than real time
//   wake_in_a_note      one long note: a wake
//   plan                speed, force and contact point for one demand
#include "bench/workload.hpp"

#include "bow/plan.hpp"
#include "studio/ensemble.hpp"

#include <benchmark/benchmark.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

benchmark::Counter each(std::size_t things)
{
    return {static_cast<double>(things), benchmark::Counter::kIsRate | benchmark::Counter::kInvert};
}

void events(benchmark::State& state, const Workload& w)
{
    std::size_t done = 0;
    Counting sink;
    for (auto _ : state) {
        Player player{w.config};
        done += play(w.inputs, player, sink);
    }
    state.counters["event"] = each(done);
    state.counters["value"] = each(sink.values);
}

// What writers would take out meanwhile.
void empty(Lines& lines)
{
    TakeItem item;
    while (lines.take.pop(item)) {
    }
    JournalItem kept;
    while (lines.journal.pop(kept)) {
    }
}

void players(benchmark::State& state)
{
    const std::vector<Input> inputs = workload("song")->inputs;
    const auto count = static_cast<std::size_t>(state.range(0));
    Settings settings;
    settings.players.resize(count);
    for (PlayerSettings& player : settings.players) player.config = violin_config();
    std::size_t done = 0;
    for (auto _ : state) {
        state.PauseTiming();
        const auto lines = std::make_unique<Lines>();
        const auto house = ensemble_of(settings, *lines);
        state.ResumeTiming();
        for (const Input& input : inputs) {
            for (; house->next_wake() <= input.at && house->next_wake() != Time::never(); ++done) house->wake();
            house->on(input);
            done += count;
            empty(*lines);
        }
    }
    state.counters["event"] = each(done);
}
BENCHMARK(players)->Arg(1)->Arg(2)->Arg(4)->Arg(8)->Arg(16)->Arg(32)->Arg(64)->Unit(benchmark::kMillisecond);

void song_times_real_time(benchmark::State& state)
{
    const Workload w = *workload("song");
    Counting sink;
    for (auto _ : state) {
        Player player{w.config};
        play(w.inputs, player, sink);
    }
    const double seconds_of_music = to_seconds(w.inputs.back().at - Time{}).value;
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

int main(int argc, char** argv)
{
    for (const std::string& name : workload_names())
        benchmark::RegisterBenchmark(("events/" + name).c_str(), [w = *workload(name)](benchmark::State& state) {
            events(state, w);
        })->Unit(benchmark::kMillisecond);
    benchmark::Initialize(&argc, argv);
    if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 64;
    benchmark::RunSpecifiedBenchmarks();
    benchmark::Shutdown();
    return 0;
}
