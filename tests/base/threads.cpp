// The two ways from one thread to another, on two threads; run under the thread sanitizer, too.
#include "base/latest.hpp"
#include "base/ring.hpp"

#include <doctest/doctest.h>

#include <array>
#include <atomic>
#include <cstdint>
#include <thread>

using namespace bowarm;

namespace
{

// Every part has to be of the same writing: a torn value shows.
struct Stamped {
    std::array<std::uint64_t, 16> parts{};
    static Stamped of(std::uint64_t n)
    {
        Stamped stamped;
        stamped.parts.fill(n);
        return stamped;
    }
    bool whole() const
    {
        for (const std::uint64_t part : parts)
            if (part != parts[0]) return false;
        return true;
    }
};

} // namespace

TEST_CASE("threads: a ring hands over every item once, whole and in order")
{
    static Ring<Stamped, 64> ring;
    constexpr std::uint64_t count = 200'000;
    std::thread producer{[] {
        for (std::uint64_t n = 1; n <= count;)
            if (ring.push(Stamped::of(n))) {
                ++n;
            } else {
                std::this_thread::yield();
            }
    }};
    std::uint64_t expected = 1, torn = 0, disordered = 0;
    while (expected <= count) {
        Stamped item;
        if (!ring.pop(item)) {
            std::this_thread::yield();
            continue;
        }
        torn += item.whole() ? 0 : 1;
        disordered += item.parts[0] == expected ? 0 : 1;
        ++expected;
    }
    producer.join();
    CHECK(torn == 0);
    CHECK(disordered == 0);
    CHECK(ring.size() == 0);
}

TEST_CASE("threads: a full ring refuses and keeps what it has")
{
    Ring<int, 4> ring;
    for (int n = 0; n < 4; ++n) CHECK(ring.push(n));
    CHECK_FALSE(ring.push(4));
    int item = -1;
    for (int n = 0; n < 4; ++n) {
        CHECK(ring.pop(item));
        CHECK(item == n);
    }
    CHECK_FALSE(ring.pop(item));
}

TEST_CASE("threads: the latest value is whole, never older than the one before, and the last one arrives")
{
    static Latest<Stamped> latest;
    constexpr std::uint64_t count = 200'000;
    std::atomic<bool> done{false};
    std::thread writer{[&done] {
        for (std::uint64_t n = 1; n <= count; ++n) latest.write(Stamped::of(n));
        done.store(true, std::memory_order_release);
    }};
    std::uint64_t torn = 0, backwards = 0, last = 0;
    const auto look = [&] {
        Stamped value;
        latest.read(value);
        torn += value.whole() ? 0 : 1;
        backwards += value.parts[0] < last ? 1 : 0;
        last = value.parts[0];
    };
    while (!done.load(std::memory_order_acquire)) look();
    writer.join();
    look();
    CHECK(torn == 0);
    CHECK(backwards == 0);
    CHECK(last == count);
}
