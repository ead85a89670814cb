#include "studio/file_player.hpp"

#include "midi/standard_file.hpp"
#include "take/performance.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>

namespace bowarm
{
namespace
{

constexpr Source keyboard{0};
// An hour of dense playing is below 1 MB; this keeps an endless device from filling the memory.
constexpr std::size_t file_bytes_at_most = 32U << 20;

std::vector<std::uint8_t> bytes_of(const std::filesystem::path& file)
{
    std::error_code trouble;
    if (std::filesystem::is_directory(file, trouble)) throw ScriptProblem(file.string() + ": is a folder; name a Standard MIDI File", true);
    std::ifstream stream{file, std::ios::binary};
    if (!stream) throw ScriptProblem(file.string() + ": " + std::strerror(errno) + "; name a Standard MIDI File that can be read", true);
    std::vector<std::uint8_t> bytes(file_bytes_at_most + 1);
    stream.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    bytes.resize(static_cast<std::size_t>(stream.gcount()));
    if (bytes.size() > file_bytes_at_most) throw ScriptProblem(file.string() + ": larger than 32 MB; name a file of one piece", false);
    return bytes;
}

} // namespace

Script script_of(const std::filesystem::path& file)
{
    const std::vector<std::uint8_t> bytes = bytes_of(file);
    const FileRead read = read_standard_file(bytes);
    if (const auto* problem = std::get_if<FileProblem>(&read))
        throw ScriptProblem(file.string() + ": byte " + std::to_string(problem->offset) + ": " + problem->what + "; " + problem->remedy,
                            false);

    const auto& song = std::get<StandardFile>(read);
    Script script{inputs_of(song, keyboard), {}};
    if (leaves_keys_down(script.inputs))
        script.inputs.push_back({std::max(song.end, script.inputs.back().at), keyboard, InputKind::port_lost, {}});
    for (const FileWarning& warning : song.warnings)
        script.warnings.push_back(file.string() + ": byte " + std::to_string(warning.offset) + ": " + warning.what);
    return script;
}

} // namespace bowarm
