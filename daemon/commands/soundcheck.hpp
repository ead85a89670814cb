// `bowarmd soundcheck`: a short phrase for each technique, with the arm off and on, played to the output or into a file.
#pragma once

#include "commands/options.hpp"

namespace bowarm
{

// Errors: CommandFailure 64 no such technique, 66 and 78 the configuration, 69 no MIDI system or no listener, 73 and 74 the file.
int soundcheck_command(const Arguments& arguments);

} // namespace bowarm
