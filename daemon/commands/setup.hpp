// `bowarmd setup`: asks at the terminal, listens at the keyboard, and writes [controls] or a target's keyswitches.
#pragma once

#include "commands/options.hpp"

namespace bowarm
{

// Errors: CommandFailure 64 no answers can be read, 66 and 78 the configuration, 69 no MIDI system, 73 and 74 the file.
int setup_command(const Arguments& arguments);

} // namespace bowarm
