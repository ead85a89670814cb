// Memory that the engine uses is kept from being swapped out.
//   source   mlock(2), mlockall(2), mallopt(3): glibc takes what is smaller than M_MMAP_THRESHOLD from brk(2), for the main thread
//   thread   keep_on_heap and lock_heap: the main one; the rest: any.  Real-time safe: no.
//   Errors   false: not permitted, or beyond the limit (limits.conf(5), memlock); nothing else changes.
#pragma once

#include <cstddef>
#include <span>

namespace bowarm
{

// What the main thread takes from now on lies on the heap, where lock_heap finds it, if it is below a megabyte, as players are.
void keep_on_heap() noexcept;
// All that is mapped now.  What others map later stays free, since a limit that is reached would take memory away from them.
bool lock_all_memory() noexcept;
// The heap as it is now: what the main thread took since.
bool lock_heap() noexcept;
bool lock_memory(std::span<const std::byte> memory) noexcept;

} // namespace bowarm
