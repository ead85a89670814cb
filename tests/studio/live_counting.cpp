#include "live_counting.hpp"

#include <cerrno>
#include <cstdlib>

namespace
{

thread_local bool counting = false;
thread_local std::size_t counted = 0;

} // namespace

#if defined(__SANITIZE_THREAD__) || defined(__SANITIZE_ADDRESS__) || !defined(__GLIBC__)
bool bowarm::test::can_count_allocations() { return false; }
#else
bool bowarm::test::can_count_allocations() { return true; }

// glibc's own entry points; operator new comes through malloc, too.
extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* __libc_memalign(std::size_t, std::size_t);

void* malloc(std::size_t size)
{
    if (counting) ++counted;
    return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size)
{
    if (counting) ++counted;
    return __libc_calloc(count, size);
}
void* realloc(void* old, std::size_t size)
{
    if (counting) ++counted;
    return __libc_realloc(old, size);
}
void* aligned_alloc(std::size_t alignment, std::size_t size)
{
    if (counting) ++counted;
    return __libc_memalign(alignment, size);
}
}
#endif

namespace bowarm::test
{

AllocationCount::AllocationCount()
{
    counted = 0;
    counting = true;
}
AllocationCount::~AllocationCount() { counting = false; }
std::size_t AllocationCount::count() const { return counted; }

} // namespace bowarm::test
