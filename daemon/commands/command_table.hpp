// Every subcommand: its row and its function.
#pragma once

#include "commands/options.hpp"

#include <span>

namespace bowarm
{

struct Subcommand {
    const CommandRow* row;
    int (*run)(const Arguments&);
};
std::span<const Subcommand> commands();

} // namespace bowarm
