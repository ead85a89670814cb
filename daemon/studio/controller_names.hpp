// Controllers as a person writes them: "cc 11", "cc 1 fine", "channel pressure", "pitch bend", "none".
//   thread   any, pure.  Real-time safe: no.  Errors: empty when the text names nothing that may be used so.
//   source   MIDI 1.0 Detailed Specification 4.2.1, controller numbers
#pragma once

#include "hear/controls.hpp"
#include "midi/message.hpp"

#include <optional>
#include <string_view>

namespace bowarm
{

// Numbers with a meaning that no moving value may take: bank select (0, 32), data entry and parameter numbers (6, 38, 96 to 101),
// channel mode (120 to 127).
bool is_reserved_controller(int number);

std::optional<PersonControl> person_control_of(std::string_view text);
// Of the channel given.  Fine: two controllers, the high half below 32.
std::optional<Controller> controller_of(std::string_view text, Channel channel);

} // namespace bowarm
