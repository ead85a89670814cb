// The messages of a curve value, without the high half of a 14-bit pair where that has not changed.
//   source   MIDI 1.0 Detailed Specification 4.2.1, controller numbers: the high half goes first; a receiver that gets one sets
//            the low half to 0; while the high half stays, the low one may be sent alone.
//   thread   any.  Real-time safe: yes.
//   Errors   a value outside the controller's range is brought to the nearest.
#pragma once

#include "midi/controller_messages.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

// What one wire has carried, so that a low half can go alone.  Everything that is sent has to be shown to it, in order.
class FineHalves
{
public:
    FineHalves() { forget(); }
    CurveMessages messages(Controller controller, int value) const noexcept;
    void saw(const Message& sent) noexcept;
    void forget() noexcept;

private:
    std::array<std::array<std::int8_t, 32>, 16> high_{}; // -1: not known
};

} // namespace bowarm
