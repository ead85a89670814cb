// What many players cost: CPU time of the whole house (engine, senders, ports) on a port in memory, and how often its threads wake.
//   usage   house PLAYERS SECONDS     every player holds notes of a second, changes and curves included
//           house 0 SECONDS           one player, nothing plays
#include "studio/live_fake.hpp"

#include "studio/configuration.hpp"
#include "studio/engine_thread.hpp"
#include "studio/port_keeper.hpp"

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <string>
#include <sys/resource.h>
#include <thread>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

class Ears final : public Receiver
{
public:
    void received(std::span<const std::uint8_t>) noexcept override {}
};

std::string configuration(int players)
{
    std::string text = "version = 1\n";
    for (int i = 0; i < 4; ++i) {
        const std::string name = "out " + std::to_string(i);
        text += "[[output]]\nname = \"" + name + "\"\nvirtual = false\nconnect = [\"ears " + std::to_string(i) + "\"]\n";
    }
    for (int i = 0; i < players; ++i)
        text += "[[player]]\nname = \"player " + std::to_string(i) + "\"\ntarget = \"controller-ranges\"\noutput = \"out " +
                std::to_string(i / 16) + "\"\ntarget_channel = " + std::to_string(i % 16 + 1) + "\n";
    return text;
}

Settings settings_for(int players)
{
    ::setenv("BOWARM_DATA", BOWARM_SOURCE_DIR "/config", 1);
    const auto loaded = load_configuration_text("/nowhere/bowarm.toml", configuration(players), {});
    if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded)) {
        for (const Problem& problem : *problems) std::fprintf(stderr, "%s\n", problem.line().c_str());
        std::exit(1);
    }
    return std::get<Settings>(loaded);
}

double seconds_of(const timeval& t) { return static_cast<double>(t.tv_sec) + static_cast<double>(t.tv_usec) * 1e-6; }

struct Spent {
    double cpu_s;
    long switches;
};
Spent spent()
{
    rusage usage{};
    ::getrusage(RUSAGE_SELF, &usage);
    return {seconds_of(usage.ru_utime) + seconds_of(usage.ru_stime), usage.ru_nvcsw};
}

// A note a second in every player, with a pedal that moves a hundred times a second, so that the curves are busy.
void play(Lines& lines, FakeWorld& world, int seconds)
{
    for (int s = 0; s < seconds; ++s) {
        const std::uint8_t key = static_cast<std::uint8_t>(60 + s % 12);
        lines.feeds[0].received(std::array<std::uint8_t, 3>{0x90, key, 80});
        for (int i = 0; i < 100; ++i) {
            lines.feeds[0].received(std::array<std::uint8_t, 3>{0xB0, 11, static_cast<std::uint8_t>(40 + (i * 7 + s) % 60)});
            std::this_thread::sleep_for(std::chrono::milliseconds(10));
        }
        lines.feeds[0].received(std::array<std::uint8_t, 3>{0x80, key, 64});
        TakeItem item;
        while (lines.take.pop(item)) {
        }
        const std::lock_guard lock{world.mutex};
        world.sent.clear();
    }
}

} // namespace

int main(int argc, char** argv)
{
    if (argc != 3) {
        std::fprintf(stderr, "usage: house PLAYERS SECONDS\n");
        return 64;
    }
    const int players = std::atoi(argv[1]), seconds = std::atoi(argv[2]);
    const Settings settings = settings_for(players == 0 ? 1 : players);
    const auto world = std::make_shared<FakeWorld>();
    Ears ears;
    std::vector<std::unique_ptr<FakeInput>> samplers;
    for (int i = 0; i < 4; ++i) samplers.push_back(std::make_unique<FakeInput>(world, "ears " + std::to_string(i) + ":in", ears));
    const auto lines = std::make_shared<Lines>();
    EngineThread engine{LiveEngine{ensemble_of(settings, *lines), {}, *lines}, *lines};
    PortKeeper keeper{settings.midi, lines,
                      [&](const std::shared_ptr<Wakeup>&) { return std::make_unique<FakeSystem>(world, settings.midi.client); }};
    keeper.start();
    while (keeper.view().ports.empty() || keeper.view().ports.back().state != "open")
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    engine.start();
    keeper.playing();
    std::this_thread::sleep_for(std::chrono::milliseconds(300));

    const Spent before = spent();
    if (players == 0)
        std::this_thread::sleep_for(std::chrono::seconds(seconds));
    else
        play(*lines, *world, seconds);
    const Spent after = spent();
    std::uint64_t sent = 0;
    for (const OutQueue& out : lines->outs) sent += out.sent.load();
    std::uint64_t dropped = 0;
    for (const OutQueue& out : lines->outs) dropped += out.dropped.load();
    std::printf("%d players, %d s: %.2f %% of a core, %llu messages, %llu dropped, %.1f voluntary context switches a second "
                "(of them %d of this driver), latest wake %.2f ms late\n",
                players, seconds, 100 * (after.cpu_s - before.cpu_s) / seconds, static_cast<unsigned long long>(sent),
                static_cast<unsigned long long>(dropped), static_cast<double>(after.switches - before.switches) / seconds,
                players == 0 ? 0 : 100, static_cast<double>(lines->counts.latest_wake_ns.load()) * 1e-6);
    keeper.finish(milliseconds(2000));
    engine.stop();
    return 0;
}
