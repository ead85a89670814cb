// Where configurations, instruments and targets lie.
//   source   XDG Base Directory Specification 0.8: relative values of its variables are ignored
//   thread   any that may read the environment.  Real-time safe: no.  Errors: none; a folder may turn out not to exist.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

// $XDG_CONFIG_HOME, else ~/.config; empty when there is no home.
std::filesystem::path config_home();

// $XDG_STATE_HOME, else ~/.local/state; empty when there is no home.
std::filesystem::path state_home();

// $XDG_RUNTIME_DIR; empty when it is not set.
std::filesystem::path runtime_folder();

// Where packaged files may lie, best first: $BOWARM_DATA alone when it is set; else ../share/bowarm beside the program's
// folder, then bowarm/ in $XDG_DATA_HOME and in $XDG_DATA_DIRS.
std::vector<std::filesystem::path> data_folders();

// "~/x" from the person's home; a relative path from the folder given.
std::filesystem::path resolved(std::string_view written, const std::filesystem::path& folder);

// Names of the .toml files in these folders, without the ending, sorted, each once.
std::vector<std::string> toml_names(const std::vector<std::filesystem::path>& folders);

} // namespace bowarm
