#include "studio/kept_configuration.hpp"

#include "take/take.hpp"

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
    fs::path put(const char* subfolder, const KeptText& text) const
    {
        const fs::path folder = fs::path{path_} / subfolder;
        fs::create_directory(folder);
        const fs::path path = folder / fs::path{text.name}.filename();
        write_whole_file(path, {reinterpret_cast<const std::uint8_t*>(text.content.data()), text.content.size()});
        return path;
    }

private:
    std::string path_;
};

} // namespace

ConfigurationTexts texts_of(const Settings& settings)
{
    return {kept(settings.file), kept(settings.instrument_file), kept(settings.target_file)};
}

Loaded settings_of(const ConfigurationTexts& texts)
{
    if (texts.configuration.name.empty()) return std::vector{Problem{"the take", "has no configuration with it", ""}};
    if (!names_a_file(texts.instrument) || !names_a_file(texts.target))
        return std::vector{Problem{"the take", "does not name its instrument and target", ""}};
    const TemporaryFolder folder;
    const Overrides chosen{folder.put("instruments", texts.instrument).string(), folder.put("targets", texts.target).string(), true};
    return load_configuration_text(texts.configuration.name, texts.configuration.content, chosen);
}

} // namespace bowarm
