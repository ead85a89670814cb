// Counts what one thread takes from the heap, in this whole test program.
#pragma once

#include <cstddef>

namespace bowarm::test
{

// False under a sanitizer, which has an allocator of its own.
bool can_count_allocations();

// Allocations of this thread while it lives.
class AllocationCount
{
public:
    AllocationCount();
    ~AllocationCount();
    std::size_t count() const;
};

} // namespace bowarm::test
