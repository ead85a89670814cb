// The workloads that the benchmarks and the instruction count share.
#pragma once

#include "player/random_playing.hpp"

namespace bowarm::test
{

class Counting final : public Sink
{
public:
    void bundle(Time, std::span<const Message> m) noexcept override { out += m.size(); }
    void curve(Time, Controller, int) noexcept override { ++out; }
    void fact(const Fact&) noexcept override {}
    std::size_t out{0};
};

// Gives the number of inputs and wakes.
std::size_t run(Player& player, const std::vector<Input>& inputs, Sink& sink);
// Five minutes of half-second notes with a moving loudness.
std::vector<Input> song();

} // namespace bowarm::test
