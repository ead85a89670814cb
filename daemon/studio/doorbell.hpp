// How a thread sleeps while its ring is empty, and how the one who fills the ring wakes it.
//   While things keep coming the sleeper looks by itself now and then (rest) and nobody rings; when a look found nothing it
//   sleeps until the first thing comes (doze).
//   thread   knock: the ring's producer, after each push; rest and doze: the consumer; ring: any.
//   Real-time safe: knock and ring; knock is one atomic exchange, and a system call that never blocks when somebody sleeps.
//   Errors   std::system_error from the constructor when the system has no more descriptors.
#pragma once

#include "midi/ports/wakeup.hpp"

#include <algorithm>
#include <atomic>
#include <cstdint>
#include <limits>
#include <optional>
#include <poll.h>

namespace bowarm
{

class Doorbell
{
public:
    // The exchanges of both sides have one order: either this one sees the sleeper, or the sleeper, afterwards, the push.
    void knock() noexcept
    {
        if (dozing_.exchange(false, std::memory_order_acq_rel)) bell_.ring();
    }
    void ring() noexcept { bell_.ring(); }

    // At most that long; a knock does not end it, a ring does.
    void rest(std::int64_t ms) noexcept { wait(static_cast<int>(std::clamp<std::int64_t>(ms, 0, std::numeric_limits<int>::max()))); }
    // Until a knock or a ring, at most that long.  Is there something after all?  is_empty is asked once more.
    template <class IsEmpty> void doze(std::optional<std::int64_t> ms, IsEmpty is_empty) noexcept
    {
        dozing_.exchange(true, std::memory_order_acq_rel);
        if (is_empty()) ms ? rest(*ms) : wait(-1);
        dozing_.store(false, std::memory_order_release);
    }

private:
    void wait(int ms) noexcept
    {
        pollfd bell{bell_.descriptor(), POLLIN, 0};
        if (::poll(&bell, 1, ms) > 0) bell_.clear();
    }

    Wakeup bell_;
    std::atomic<bool> dozing_{false};
};

} // namespace bowarm
