// The engine takes its memory at construction and none afterwards.
#include "player/random_playing.hpp"

#include <atomic>
#include <cstdlib>
#include <doctest/doctest.h>
#include <new>

namespace
{
std::atomic<long> allocations{0};
}

void* operator new(std::size_t size)
{
    ++allocations;
    if (void* p = std::malloc(size)) return p;
    throw std::bad_alloc{};
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept
{
    ++allocations;
    return std::malloc(size);
}
void operator delete(void* p) noexcept { std::free(p); }
void operator delete(void* p, std::size_t) noexcept { std::free(p); }

using namespace bowarm;
using namespace bowarm::test;

namespace
{

class Nothing final : public Sink
{
public:
    void bundle(Time, std::span<const Message>) noexcept override { ++calls; }
    void curve(Time, Controller, int) noexcept override { ++calls; }
    void fact(const Fact&) noexcept override { ++calls; }
    long calls{0};
};

} // namespace

TEST_CASE("nothing is allocated on the engine's path")
{
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        const auto playing = random_playing(seed, 200);
        PlayerConfig config = random_config(seed);
        config.desks = static_cast<std::uint8_t>(1 + seed % 4);
        config.players_on_cable = static_cast<int>(seed % 3);
        if (seed % 2 == 0)
            for (TechniqueWay& way : config.target.techniques) way.speaking.first = way.speaking.connected = Seconds{0.05};
        Player player{config};
        Nothing sink;
        Snapshot snapshot;
        const long before = allocations;
        for (const Input& input : playing) {
            advance(player, input.at, sink);
            player.on(input, sink);
            player.read(snapshot);
        }
        CHECK(allocations == before);
        CHECK(sink.calls > 0);
    }
    const long before = allocations;
    int* volatile counted = new int{1}; // volatile: or the compiler leaves the pair out
    delete counted;
    CHECK(allocations == before + 1);
}
