// Finds out what a person moved: which controller went which way, which pedal was pressed, which keys.
//   in       every message of every input while a question is open
//   out      what is known so far
//   source   MIDI 1.0 Detailed Specification 4.2.1: controllers n and n + 32, n below 32, are the halves of one of 14 bits;
//            switches are on from 64
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include "hear/controls.hpp"
#include "midi/message.hpp"

#include <array>
#include <bitset>
#include <optional>
#include <vector>

namespace bowarm
{

// A pedal, wheel or breath controller that slides.
struct SlidingControl {
    PersonController kind{PersonController::none};
    Midi7 number;
    Midi7 lowest, highest;
    bool ends_low{false}; // it was left nearer to its lowest value than to its highest
    bool fine{false};     // its low half is sent, too
    bool steps{false};    // it sent two values only: a switch
};

// A switch pedal that was pressed and let go.
struct PressedPedal {
    Midi7 number;
    bool turned{false}; // at rest it says that it is down
};

class ControlListener
{
public:
    void hear(const Message& message);
    void forget() { *this = ControlListener{}; }

    // What travelled farthest; empty while nothing has moved.  64 is the sustain pedal, and numbers with a fixed meaning are no controls.
    std::optional<SlidingControl> sliding() const;
    // Empty until one has been seen on both sides of the middle.
    std::optional<PressedPedal> pedal() const;
    // Keys in the order in which they went down, each once, the newest last.
    const std::vector<Midi7>& keys() const { return keys_; }

private:
    struct Travel {
        Midi7 lowest{Midi7::nearest(127)}, highest{Midi7::nearest(0)}, last{};
        std::bitset<128> values;
        void see(Midi7 value);
        int way() const { return values.none() ? 0 : highest.get() - lowest.get(); }
    };
    SlidingControl described(PersonController kind, int number, const Travel& travel) const;

    std::array<Travel, 128> controllers_{};
    Travel pressure_;
    std::vector<Midi7> keys_;
};

} // namespace bowarm
