// `bowarmd run`: the service in the foreground, live or with a file played to it.
#pragma once

#include "commands/options.hpp"

namespace bowarm
{

// Errors: CommandFailure 65, 66, 73, 75, 78 before anything sounds; else the service's exit code.
int run_command(const Arguments& arguments);

} // namespace bowarm
