// Logical time of a live session: CLOCK_MONOTONIC counted from its start.
//   thread   start: once, by the service; now and deadline: any.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/time.hpp"
#include "midi/ports/monotonic.hpp"

#include <atomic>
#include <cstdint>

namespace bowarm
{

class LiveClock
{
public:
    void start() noexcept { zero_ns_.store(monotonic_ns(), std::memory_order_release); }
    // Zero before the start.
    Time now() const noexcept
    {
        const std::int64_t zero = zero_ns_.load(std::memory_order_acquire);
        return {zero == 0 ? 0 : monotonic_ns() - zero};
    }
    // The moment on CLOCK_MONOTONIC, in nanoseconds.
    std::int64_t monotonic(Time t) const noexcept { return zero_ns_.load(std::memory_order_acquire) + t.ns; }

private:
    std::atomic<std::int64_t> zero_ns_{0};
};

} // namespace bowarm
