// Seeded random playing: keys, controllers, pedals, commands, lost ports, time jumps.  Kinds are weighted unevenly.
#pragma once

#include "player/fixture.hpp"

#include <cstdint>
#include <vector>

namespace bowarm::test
{

// SplitMix64 (S. Vigna, public domain): the same numbers on every machine.
class Dice
{
public:
    explicit Dice(std::uint64_t seed) : state_(seed) {}
    std::uint64_t next()
    {
        state_ += 0x9E3779B97F4A7C15ULL;
        std::uint64_t z = state_;
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
        return z ^ (z >> 31);
    }
    int below(int n) { return static_cast<int>(next() % static_cast<std::uint64_t>(n)); }
    bool one_in(int n) { return below(n) == 0; }

private:
    std::uint64_t state_;
};

// A performance of that many events; every key that is down at the end is left down.
std::vector<Input> random_playing(std::uint64_t seed, int events);
// The same of a hand that holds notes while another voice moves over, under and through them.
std::vector<Input> random_two_voices(std::uint64_t seed, int events);
PlayerConfig random_config(std::uint64_t seed);

} // namespace bowarm::test
