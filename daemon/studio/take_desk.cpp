#include "studio/take_desk.hpp"

#include <algorithm>
#include <system_error>

namespace bowarm
{

namespace
{

namespace fs = std::filesystem;

// So that an answer stays short; names rise with time.
constexpr std::size_t takes_told_at_most = 200;

std::uint64_t size_or_none(const fs::path& file)
{
    std::error_code trouble;
    const auto size = fs::file_size(file, trouble);
    return trouble ? 0 : size;
}

} // namespace

std::vector<TakeEntry> Takes::list()
{
    std::vector<TakeEntry> takes;
    std::error_code trouble;
    for (fs::directory_iterator at{folder_, trouble}, end; !trouble && at != end; at.increment(trouble))
        if (at->path().extension() == ".json") takes.push_back({at->path().stem().string(), 0});
    std::ranges::sort(takes, std::greater{}, &TakeEntry::name);
    if (takes.size() > takes_told_at_most) takes.resize(takes_told_at_most);
    for (TakeEntry& take : takes)
        for (const char* ending : {".mid", "-played.mid", ".json"}) take.bytes += size_or_none(folder_ / (take.name + ending));
    return takes;
}

} // namespace bowarm
