// The clock that never jumps.
//   thread   any.  Real-time safe: yes.  Errors: none.
#pragma once

#include <cstdint>
#include <ctime>

namespace bowarm
{

inline std::int64_t monotonic_ns() noexcept
{
    timespec now{};
    ::clock_gettime(CLOCK_MONOTONIC, &now);
    return static_cast<std::int64_t>(now.tv_sec) * 1'000'000'000 + now.tv_nsec;
}

} // namespace bowarm
