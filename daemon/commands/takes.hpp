// `bowarmd takes`: lists, shows, exports, deletes and names takes, bows one again, joins two.  `bowarmd recover`: a journal that a
// crash left behind becomes a take.
//   Errors   CommandFailure: 64 usage, 65 a journal that is none or cannot be played, 66 no such take or file, 73 and 74 writing,
//            75 the journal is being written.
#pragma once

#include "commands/options.hpp"
#include "studio/configuration.hpp"

#include <filesystem>
#include <optional>
#include <string>

namespace bowarm
{

int takes_command(const Arguments& arguments);
int recover_command(const Arguments& arguments);

// Where takes lie: as asked, as configured, else $XDG_STATE_HOME/bowarm/takes or ~/.local/state/bowarm/takes; empty: nowhere.
std::filesystem::path take_folder_of(const Settings& settings, const std::optional<std::string>& asked);

} // namespace bowarm
