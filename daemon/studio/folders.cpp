#include "studio/folders.hpp"

#include <cstdlib>
#include <set>
#include <system_error>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

fs::path absolute_from_environment(const char* name)
{
    const char* value = std::getenv(name);
    const fs::path path{value ? value : ""};
    return path.is_absolute() ? path : fs::path{};
}

fs::path home() { return absolute_from_environment("HOME"); }

} // namespace

fs::path config_home()
{
    if (const auto set = absolute_from_environment("XDG_CONFIG_HOME"); !set.empty()) return set;
    return home().empty() ? fs::path{} : home() / ".config";
}

fs::path state_home()
{
    if (const auto set = absolute_from_environment("XDG_STATE_HOME"); !set.empty()) return set;
    return home().empty() ? fs::path{} : home() / ".local" / "state";
}

fs::path runtime_folder() { return absolute_from_environment("XDG_RUNTIME_DIR"); }

std::vector<fs::path> data_folders()
{
    if (const char* set = std::getenv("BOWARM_DATA"); set && *set) return {set};
    std::vector<fs::path> out;
    std::error_code error;
    if (const auto program = fs::read_symlink("/proc/self/exe", error); !error)
        out.push_back(program.parent_path().parent_path() / "share" / "bowarm");
    if (const auto set = absolute_from_environment("XDG_DATA_HOME"); !set.empty()) {
        out.push_back(set / "bowarm");
    } else if (!home().empty()) {
        out.push_back(home() / ".local" / "share" / "bowarm");
    }
    const char* set = std::getenv("XDG_DATA_DIRS");
    std::string_view list{set && *set ? set : "/usr/local/share:/usr/share"};
    while (!list.empty()) {
        const auto colon = list.find(':');
        const fs::path folder{list.substr(0, colon)};
        if (folder.is_absolute()) out.push_back(folder / "bowarm");
        if (colon == std::string_view::npos) break;
        list.remove_prefix(colon + 1);
    }
    return out;
}

fs::path resolved(std::string_view written, const fs::path& folder)
{
    if (written.starts_with("~/") && !home().empty()) return home() / written.substr(2);
    const fs::path path{written};
    return path.is_absolute() ? path : folder / path;
}

std::vector<std::string> toml_names(const std::vector<fs::path>& folders)
{
    std::set<std::string> names;
    for (const auto& folder : folders) {
        std::error_code error;
        for (fs::directory_iterator at{folder, error}, end; !error && at != end; at.increment(error))
            if (at->path().extension() == ".toml") names.insert(at->path().stem().string());
    }
    return {names.begin(), names.end()};
}

} // namespace bowarm
