#include "studio/kept_configuration.hpp"

#include "take/take.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <system_error>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

KeptText kept(const fs::path& path)
{
    std::ifstream file{path, std::ios::binary};
    return {path.string(), {std::istreambuf_iterator<char>{file}, {}}};
}

// A journal may say anything; the files it brings lie in the temporary folder and nowhere else.
bool names_a_file(const KeptText& text)
{
    const fs::path name = fs::path{text.name}.filename();
    return !name.empty() && name != "." && name != ".." && text.name.find('\0') == std::string::npos;
}

class TemporaryFolder
{
public:
    TemporaryFolder() : path_((fs::temp_directory_path() / "bowarm-XXXXXX").string())
    {
        if (::mkdtemp(path_.data()) == nullptr) throw std::system_error(errno, std::generic_category(), path_);
    }
    ~TemporaryFolder()
    {
        std::error_code ignored;
        fs::remove_all(path_, ignored);
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;

    // The file's own name is kept: it is the instrument's or target's.
    std::string put(const std::string& subfolder, const KeptText& text) const
    {
        const fs::path folder = fs::path{path_} / subfolder;
        fs::create_directory(folder);
        const fs::path path = folder / fs::path{text.name}.filename();
        write_whole_file(path, {reinterpret_cast<const std::uint8_t*>(text.content.data()), text.content.size()}, owner_only,
                         Settle::by_itself);
        return path.string();
    }

private:
    std::string path_;
};

} // namespace

ConfigurationTexts texts_of(const Settings& settings)
{
    ConfigurationTexts texts{kept(settings.file), kept(settings.instrument_file), kept(settings.target_file)};
    std::vector<fs::path> known{settings.instrument_file, settings.target_file};
    const auto number_of = [&](const fs::path& file) {
        const auto at = std::find(known.begin(), known.end(), file);
        const auto number = static_cast<std::uint8_t>(at - known.begin());
        if (at != known.end()) return number;
        known.push_back(file);
        texts.more.push_back(kept(file));
        return number;
    };
    for (std::size_t i = 1; i < settings.players.size(); ++i) {
        const std::uint8_t instrument = number_of(settings.players[i].instrument_file);
        texts.others.push_back({instrument, number_of(settings.players[i].target_file)});
    }
    return texts;
}

Loaded settings_of(const ConfigurationTexts& texts)
{
    if (texts.configuration.name.empty()) return std::vector{Problem{"the take", "has no configuration with it", ""}};
    if (!names_a_file(texts.instrument) || !names_a_file(texts.target))
        return std::vector{Problem{"the take", "does not name its instrument and target", ""}};
    const TemporaryFolder folder;
    std::vector<std::string> paths{folder.put("0", texts.instrument), folder.put("1", texts.target)};
    for (const KeptText& text : texts.more) paths.push_back(folder.put(std::to_string(paths.size()), text));
    Overrides chosen{paths[0], paths[1], true};
    chosen.players.push_back({paths[0], paths[1]});
    for (const PlayersFiles& player : texts.others) chosen.players.push_back({paths[player.instrument], paths[player.target]});
    Loaded loaded = load_configuration_text(texts.configuration.name, texts.configuration.content, chosen);
    if (auto* settings = std::get_if<Settings>(&loaded); settings != nullptr && settings->players.size() > texts.players())
        settings->players.resize(texts.players());
    return loaded;
}

} // namespace bowarm
