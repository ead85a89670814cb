// `bowarmd ports`: what can be listened to and played, under the names that a configuration matches.
#pragma once

#include "commands/options.hpp"

namespace bowarm
{

// Errors: CommandFailure 69 when no MIDI system answers.
int ports_command(const Arguments& arguments);

} // namespace bowarm
