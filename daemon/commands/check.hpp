// `bowarmd check`, and what every command does with a configuration.
#pragma once

#include "commands/options.hpp"
#include "studio/configuration.hpp"

#include <vector>

namespace bowarm
{

// Loads what --config, --instrument and --target ask for.
Loaded load_as_asked(const Arguments& arguments);
// The same.  Throws CommandFailure (66, 78) with every problem on a line of its own.
Settings settings_from(const Arguments& arguments);
// With another instrument than --instrument says.
Settings settings_for(const Arguments& arguments, const std::string& instrument);

// One problem a line, in their order; and the exit code that fits them: 66 when nothing but files is missing, else 78.
std::string lines_of(const std::vector<Problem>& problems);
int exit_code_of(const std::vector<Problem>& problems);

int check_command(const Arguments& arguments);

} // namespace bowarm
