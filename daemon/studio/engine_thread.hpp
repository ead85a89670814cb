// The thread that plays: it sleeps until something comes in or the player is due, and does a turn.
//   thread   start, stop and the destructor: the service.  Real-time priority is asked for and done without when refused.
//   Errors   std::system_error from start when the system gives no timer or thread.
#pragma once

#include "studio/live_engine.hpp"

#include <atomic>
#include <thread>

namespace bowarm
{

class EngineThread
{
public:
    EngineThread(LiveEngine engine, Lines& lines);
    ~EngineThread(); // stops
    EngineThread(const EngineThread&) = delete;
    EngineThread& operator=(const EngineThread&) = delete;

    void start(); // starts the clock, too
    void stop();  // after a last turn
    // True once everything pushed before the call was applied; waits at most that long.
    bool caught_up(Duration patience);
    // How many it has done; a thread that lives does one soon after its bell is rung.
    std::uint64_t turns() const noexcept { return turns_.load(std::memory_order_acquire); }

private:
    void run() noexcept;
    void sleep_until(Time next) noexcept;
    void ask_for_priority() noexcept;

    LiveEngine engine_;
    Lines& lines_;
    int timer_;
    std::atomic<bool> stopping_{false};
    std::atomic<std::uint64_t> turns_{0};
    std::thread thread_;
};

} // namespace bowarm
