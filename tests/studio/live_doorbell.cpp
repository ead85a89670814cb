// A sleeper that dozes while its ring is empty hears of every push, whenever that comes.
#include "studio/doorbell.hpp"

#include "base/ring.hpp"

#include <doctest/doctest.h>

#include <memory>
#include <thread>

using namespace bowarm;

TEST_CASE("threads: no push is slept through, however it falls between looking and sleeping")
{
    constexpr int pushes = 20'000;
    const auto ring = std::make_unique<Ring<int, 1024>>();
    Doorbell bell;
    std::thread producer{[&] {
        for (int i = 0; i < pushes; ++i) {
            while (!ring->push(i)) std::this_thread::yield();
            bell.knock();
            if (i % 7 == 0) std::this_thread::yield(); // so that the sleeper falls asleep at many places
        }
    }};
    // Without a limit: a push that was slept through would hang the test, which its time limit ends.
    int got = 0;
    while (got < pushes) {
        for (int item; ring->pop(item);) CHECK(item == got++);
        if (got < pushes) bell.doze(std::nullopt, [&] { return ring->size() == 0; });
    }
    producer.join();
    CHECK(got == pushes);
}

TEST_CASE("threads: a ring before the sleep ends it, and a knock on nobody costs nothing")
{
    Doorbell bell;
    bell.knock();
    bell.ring();
    bell.doze(std::nullopt, [] { return true; });
    bell.doze(1, [] { return true; }); // nothing is left of either
}
