// A whole machine in one thread: its clocks, its threads, its bells, its disk.  The service that runs on it is the real one.
//   in       a seed; what the world wants done, and when
//   out      time that passes as fast as the work of it is done, always the same for the same seed
//   What the program asks of the system is answered here (machine.cpp defines the system's own functions for this program):
//   a thread is a fiber that runs until it waits, a clock stands while one runs, a bell and a timer are counters, a file is real but
//   its disk may be full or stand still.
//   thread   one.  Errors: violated() says the first that was seen, and ends the run.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

namespace bowarm::world
{

using Ns = std::int64_t;
inline constexpr Ns never = INT64_MAX;
inline constexpr Ns ms = 1'000'000;
inline constexpr Ns second = 1'000'000'000;
inline constexpr Ns hour = 3600 * second;

// Where fibers wait until somebody opens it.
struct Gate {
    bool open{true};
    std::vector<int> waiting;
};

enum class Disk : std::uint8_t {
    fine,
    full,         // what is written is refused, half of it at times
    slow_to_sync, // a sync does not come back
    stalled,      // nothing comes back
};

namespace machine
{

void start(std::uint64_t seed, Ns now, Ns wall, std::string disk_folder);
Ns now();
Ns wall();
void jump_wall(Ns by);
// Called outside of every fiber.
void at(Ns when, std::function<void()> what);
inline void after(Ns wait, std::function<void()> what) { at(now() + wait, std::move(what)); }
void spawn(std::function<void()> work);
// Until stop().
void run();
void stop();
// Events and turns of fibers so far.
std::uint64_t steps();

// No fiber runs until then, and the clock goes on.
void freeze_until(Ns when);
void wait_at(Gate& gate); // of a fiber
void sleep(Ns time);      // of a fiber
void open(Gate& gate);
void set_disk(Disk disk);
// A client has read or written: whoever waits for sockets looks again.
void touch_sockets();
// Somebody allocates.
void asks_for_memory();
// The program has left by _exit.
void on_exit(std::function<void(int)> told);

// What is wrong, in words; the first one is kept and the run ends.
void violated(const std::string& what);
const std::string& violation();

// Faults of the machine itself, for the proof that they are seen.
struct Lies {
    bool journal{false};      // a write to the disk that is said to have been done
    bool engine_waits{false}; // the engine's bell is behind a lock
};
extern Lies lies;

} // namespace machine
} // namespace bowarm::world
