#include "studio/memory_lock.hpp"

#include <cstdint>
#include <fstream>
#include <malloc.h>
#include <string>
#include <sys/mman.h>

namespace bowarm
{
namespace
{

// Pages that nobody has touched take no room.
bool lock(const void* begin, std::size_t size) noexcept { return ::mlock2(begin, size, MLOCK_ONFAULT) == 0; }

} // namespace

void keep_on_heap() noexcept { ::mallopt(M_MMAP_THRESHOLD, 1 << 20); }

bool lock_all_memory() noexcept { return ::mlockall(MCL_CURRENT | MCL_ONFAULT) == 0; }

// proc(5): "begin-end rights offset device inode [heap]", in parts where some are locked and some are not.
bool lock_heap() noexcept
try {
    std::ifstream maps{"/proc/self/maps"};
    bool found = false, locked = true;
    for (std::string line; std::getline(maps, line);) {
        if (!line.ends_with("[heap]")) continue;
        std::size_t dash = 0;
        const std::uintptr_t begin = std::stoull(line, &dash, 16), end = std::stoull(line.substr(dash + 1), nullptr, 16);
        found = true;
        locked = lock(reinterpret_cast<const void*>(begin), end - begin) && locked;
    }
    return found && locked;
} catch (...) {
    return false;
}

bool lock_memory(std::span<const std::byte> memory) noexcept { return memory.empty() || lock(memory.data(), memory.size()); }

} // namespace bowarm
