// Every allocation of the program passes here, so that the engine's are seen.
#include "world/machine.hpp"

#include <cstdlib>
#include <new>

void* operator new(std::size_t size)
{
    bowarm::world::machine::asks_for_memory();
    if (void* memory = std::malloc(size == 0 ? 1 : size)) return memory;
    throw std::bad_alloc{};
}
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }
