// A value of a continuous destination as it goes on the wire.
//   in       0..controller.highest(); what lies outside is brought to the nearest
//   out      one message, or two: control_change_14 gives the high half, then the low
//   source   MIDI 1.0 Detailed Specification 4.2.1, controller numbers
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/fixed_vector.hpp"
#include "midi/message.hpp"

namespace bowarm
{

using CurveMessages = FixedVector<Message, 2>;

// Both halves, whatever was sent before.
CurveMessages curve_messages(Controller controller, int value) noexcept;

} // namespace bowarm
