// The whole service in simulated studios: seeded days of playing, trouble and silence, thousands of times faster than they last.
//   bowarm_world [--seed N] [--hours H]       one story of H simulated hours (24), told by its seed
//   bowarm_world --stories M                  M of them, from --seed on, until one violates something
//   bowarm_world --minutes N                  as many as there is time for, whatever they find
//   bowarm_world --fresh                      from a seed that nobody has seen, which is printed
//   bowarm_world --here                       the first life alone and in this process, for a debugger
//   bowarm_world --lie NAME                   with a fault of its own that has to be found: note-off, value, record, engine
// Every life of the service is a process of its own, so that kill -9 is what it says.
// Exit codes: 0 nothing was violated, 1 something was (one line says what, and how to see it again), 64 usage.
#include "world/day.hpp"

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <iostream>
#include <optional>
#include <random>
#include <string>
#include <string_view>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace bowarm::world;

namespace
{

namespace fs = std::filesystem;

constexpr Ns beginning = hour;                     // of CLOCK_MONOTONIC: the machine has run for a while
constexpr unsigned a_life_at_most = 600;           // s of the real clock: one that goes round in circles is ended
constexpr Ns first_day = 1'767'225'600LL * second; // 2026-01-01, UTC

// What a life leaves to the process that watches it.
struct Left {
    Tally tally;
    char violation[512];
    bool told;
};

struct Options {
    std::uint64_t seed{1}, stories{1}; // stories 0: as many as there is time for
    double hours{24}, minutes{0};
    Lie lie{Lie::none};
    bool fresh{false}, here{false}, verbose{false};
};

std::optional<Options> options_from(int count, char** words)
{
    Options options;
    for (int i = 1; i < count; ++i) {
        const std::string_view word = words[i];
        const auto value = [&] { return i + 1 < count ? words[++i] : ""; };
        if (word == "--seed") {
            options.seed = std::strtoull(value(), nullptr, 10);
        } else if (word == "--hours") {
            options.hours = std::atof(value());
        } else if (word == "--stories") {
            options.stories = std::strtoull(value(), nullptr, 10);
        } else if (word == "--minutes") {
            options.minutes = std::atof(value());
            options.stories = 0;
        } else if (word == "--fresh") {
            options.fresh = true;
        } else if (word == "--here") {
            options.here = true;
        } else if (word == "--verbose") {
            options.verbose = true;
        } else if (word == "--lie") {
            constexpr std::string_view names[] = {"none", "note-off", "value", "record", "engine"};
            const std::string_view name = value();
            for (std::size_t n = 0; n < std::size(names); ++n)
                if (names[n] == name) options.lie = static_cast<Lie>(n);
            if (options.lie == Lie::none) return std::nullopt;
        } else {
            return std::nullopt;
        }
    }
    if (options.stories == 0 && options.minutes <= 0) return std::nullopt;
    return options;
}

void add(Tally& all, const Tally& one)
{
    all.steps += one.steps;
    all.inputs += one.inputs;
    all.notes += one.notes;
    all.sent += one.sent;
    all.kills += one.kills;
    all.stops += one.stops;
    all.reloads += one.reloads;
    all.refused += one.refused;
    all.faults += one.faults;
    all.replays += one.replays;
    all.silences += one.silences;
    all.takes += one.takes;
}

// What this and every life took of a core, in seconds.
double of_a_core()
{
    double all = 0;
    for (const auto whose : {RUSAGE_SELF, RUSAGE_CHILDREN}) {
        rusage used{};
        ::getrusage(whose, &used);
        all += static_cast<double>(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
               static_cast<double>(used.ru_utime.tv_usec + used.ru_stime.tv_usec) * 1e-6;
    }
    return all;
}

// False: something was violated, or the process broke.
bool live_in_a_child(const Wish& wish, bool here, Left& left)
{
    left = {};
    left.tally.ended = wish.from;
    std::cout.flush();
    const pid_t child = here ? 0 : ::fork();
    if (child == 0) {
        ::umask(077);
        if (!here) ::alarm(a_life_at_most);
        left.tally = live(wish);
        const std::string what = bowarm::world::machine::violation();
        std::strncpy(left.violation, what.c_str(), sizeof left.violation - 1);
        left.told = true;
        if (here) std::cout << left.violation << std::endl;
        ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    if (!left.told)
        std::snprintf(left.violation, sizeof left.violation, "the service broke: %s %d", WIFSIGNALED(status) ? "signal" : "exit code",
                      WIFSIGNALED(status) ? WTERMSIG(status) : WEXITSTATUS(status));
    return left.violation[0] == 0;
}

// In memory, where there is enough for a story's takes.
fs::path place_for_stories()
{
    const fs::path memory = "/dev/shm";
    std::error_code trouble;
    const fs::space_info room = fs::space(memory, trouble);
    constexpr std::uintmax_t takes_of_a_story = std::uintmax_t{1} << 30;
    return !trouble && room.available > takes_of_a_story && ::access(memory.c_str(), W_OK) == 0 ? memory : fs::temp_directory_path();
}

bool tell(std::uint64_t seed, const Options& options, Left& left, Tally& all, Ns& simulated)
{
    const fs::path folder = place_for_stories() / ("bowarm-world-" + std::to_string(::getpid()));
    fs::remove_all(folder);
    fs::create_directories(folder / "takes");
    Wish wish;
    wish.from = beginning;
    wish.until = beginning + static_cast<Ns>(options.hours * static_cast<double>(hour));
    wish.wall = first_day;
    wish.folder = folder.string();
    wish.data = BOWARM_SOURCE_DIR "/config";
    wish.lie = options.lie;
    wish.verbose = options.verbose;
    bool fine = true;
    for (std::uint64_t life = 0; fine && wish.from < wish.until; ++life) {
        wish.seed = seed * 1'000'003 + life;
        fine = live_in_a_child(wish, options.here, left);
        if (!fine)
            std::cout << "bowarm_world --seed " << seed << " --hours " << options.hours << ": life " << life + 1 << ", step "
                      << left.tally.steps << ", " << (left.tally.ended - beginning) / second << " s: " << left.violation << std::endl;
        add(all, left.tally);
        simulated += left.tally.ended - wish.from;
        wish.from = left.tally.ended;
        wish.wall = left.tally.wall;
    }
    if (fine || !options.verbose) fs::remove_all(folder);
    return fine;
}

} // namespace

int main(int count, char** words)
{
    const auto options = options_from(count, words);
    if (!options) {
        std::cerr << "usage: bowarm_world [--seed N | --fresh] [--hours H] [--stories M] [--minutes M] [--lie NAME] [--verbose]\n";
        return 64;
    }
    std::uint64_t seed = options->seed;
    if (options->fresh) seed = std::random_device{}();
    std::cout << "seeds from " << seed << " on, " << options->hours << " simulated hours each" << std::endl;
    auto* left = static_cast<Left*>(::mmap(nullptr, sizeof(Left), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0));
    const auto began = std::chrono::steady_clock::now();
    const auto spent = [&] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count(); };
    Tally all;
    Ns simulated = 0;
    std::uint64_t told = 0, violated = 0;
    const auto goes_on = [&] { return options->minutes > 0 ? spent() < options->minutes * 60 : violated == 0 && told < options->stories; };
    for (; goes_on(); ++told)
        if (!tell(seed + told, *options, *left, all, simulated)) ++violated;
    const double hours = static_cast<double>(simulated) / static_cast<double>(hour);
    std::cout << told << " stories, " << hours << " simulated hours, " << static_cast<long>(hours * 3600 / of_a_core())
              << " times real time on one core; " << all.inputs << " inputs, " << all.notes << " notes, " << all.sent
              << " messages heard by samplers; " << all.kills << " kills, " << all.stops << " ends, " << all.reloads << " reloads, "
              << all.refused << " refused, " << all.faults << " faults, " << all.replays << " takes played again, " << all.silences
              << " silences, " << violated << " stories that violate something, " << all.steps << " steps" << std::endl;
    return violated == 0 ? 0 : 1;
}
