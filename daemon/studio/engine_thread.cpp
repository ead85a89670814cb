#include "studio/engine_thread.hpp"

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <poll.h>
#include <pthread.h>
#include <sched.h>
#include <sys/timerfd.h>
#include <system_error>
#include <unistd.h>

namespace bowarm
{
namespace
{

// Below the audio server and below threaded interrupts.
constexpr int wanted_priority = 10;

itimerspec at_monotonic(std::int64_t ns)
{
    itimerspec when{};
    when.it_value.tv_sec = ns / 1'000'000'000;
    when.it_value.tv_nsec = ns % 1'000'000'000;
    return when;
}

} // namespace

EngineThread::EngineThread(LiveEngine engine, Lines& lines)
    : engine_(std::move(engine)), lines_(lines), timer_(::timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC | TFD_NONBLOCK))
{
    if (timer_ < 0) throw std::system_error(errno, std::generic_category(), "timerfd_create");
}

EngineThread::~EngineThread()
{
    stop();
    ::close(timer_);
}

void EngineThread::start()
{
    lines_.clock.start();
    thread_ = std::thread{[this] { run(); }};
}

void EngineThread::stop()
{
    if (!thread_.joinable()) return;
    stopping_.store(true, std::memory_order_release);
    lines_.engine_wake.ring();
    thread_.join();
}

bool EngineThread::caught_up(Duration patience)
{
    // The turn that runs now may have begun before the push: two more have to end.
    const std::uint64_t wanted = turns_.load(std::memory_order_acquire) + 2;
    const std::int64_t until = monotonic_ns() + patience.ns;
    while (turns_.load(std::memory_order_acquire) < wanted && monotonic_ns() < until) {
        lines_.engine_wake.ring();
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return turns_.load(std::memory_order_acquire) >= wanted;
}

void EngineThread::run() noexcept
{
    ask_for_priority();
    while (true) {
        const bool last = stopping_.load(std::memory_order_acquire);
        const Time next = engine_.turn(lines_.clock.now());
        turns_.fetch_add(1, std::memory_order_acq_rel);
        if (last) return;
        if (next > lines_.clock.now()) sleep_until(next);
    }
}

void EngineThread::sleep_until(Time next) noexcept
{
    const itimerspec when = next == Time::never() ? itimerspec{} : at_monotonic(lines_.clock.monotonic(next));
    ::timerfd_settime(timer_, TFD_TIMER_ABSTIME, &when, nullptr);
    pollfd sources[2] = {{timer_, POLLIN, 0}, {lines_.engine_wake.descriptor(), POLLIN, 0}};
    ::poll(sources, 2, -1);
    if ((sources[1].revents & POLLIN) != 0) lines_.engine_wake.clear();
    const std::int64_t late = next == Time::never() ? 0 : (lines_.clock.now() - next).ns;
    if (late > lines_.counts.latest_wake_ns.load(std::memory_order_relaxed))
        lines_.counts.latest_wake_ns.store(late, std::memory_order_relaxed);
}

void EngineThread::ask_for_priority() noexcept
{
    sched_param wanted{};
    wanted.sched_priority = wanted_priority;
    const bool granted = ::pthread_setschedparam(::pthread_self(), SCHED_FIFO, &wanted) == 0;
    lines_.counts.real_time_priority.store(granted ? wanted_priority : 0, std::memory_order_release);
}

} // namespace bowarm
