#include "studio/song_map.hpp"

#include "midi/standard_file.hpp"

#include <fstream>
#include <iterator>
#include <system_error>

namespace bowarm
{
namespace
{

constexpr std::uintmax_t bytes_at_most = 16U << 20;
constexpr std::uint16_t frames_bit = 0x8000;

} // namespace

std::variant<std::vector<TempoStep>, std::string> song_map_of(const std::filesystem::path& file)
{
    std::error_code trouble;
    const auto size = std::filesystem::file_size(file, trouble);
    if (trouble) return "cannot be read: " + trouble.message();
    if (size > bytes_at_most) return std::string{"is larger than 16 MiB"};
    std::ifstream in{file, std::ios::binary};
    const std::vector<char> bytes{std::istreambuf_iterator<char>{in}, {}};
    const FileRead read = read_standard_file({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
    if (const auto* problem = std::get_if<FileProblem>(&read)) return "byte " + std::to_string(problem->offset) + ": " + problem->what;
    const auto& song = std::get<StandardFile>(read);
    if ((song.division & frames_bit) != 0) return std::string{"counts in frames, which have no tempo"};
    std::vector<TempoStep> map{TempoStep{}};
    for (const FileEvent& event : song.events) {
        const auto* tempo = std::get_if<TempoChange>(&event.what);
        if (tempo == nullptr) continue;
        const TempoStep step{to_seconds(event.at - Time{}).value, static_cast<double>(event.tick) / song.division,
                             1e6 / tempo->microseconds_per_quarter};
        if (step.quarter <= map.back().quarter)
            map.back().quarters_a_second = step.quarters_a_second;
        else
            map.push_back(step);
    }
    return map;
}

} // namespace bowarm
