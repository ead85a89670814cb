// A sequencer that tells where it is in the song: by MIDI clock with start, continue, stop and song position, or by MIDI time code.
//   in       dice; how often it was asked
//   out      the next bytes, and how long until those after them
//   source   MIDI 1.0: 24 clocks a quarter, song position in sixteenths; time code in 8 quarter frames over two frames (MMA MTC 4.2.1)
//   thread   one.  Errors: none.
#pragma once

#include "player/random_playing.hpp"
#include "world/machine.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace bowarm::world
{

class TimeTeller
{
public:
    struct Told {
        std::array<std::uint8_t, 4> bytes{};
        std::size_t size{0};
        Ns wait{0}; // until the next
        std::span<const std::uint8_t> data() const { return {bytes.data(), size}; }
    };

    // Another song, or the same from elsewhere.
    void begin(test::Dice& dice);
    Told next(test::Dice& dice);
    Told end();

private:
    Told clock(test::Dice& dice);
    Told quarter_frame();

    bool by_clock_{true};
    Ns clock_every_{0};
    int clocks_{0};          // since the start
    std::uint32_t piece_{0}; // of the eight
    std::uint32_t frame_{0}; // at 25 a second
};

} // namespace bowarm::world
