#include "take/part/cues.hpp"

#include <cstddef>

namespace bowarm::part
{

constexpr std::size_t long_rest = 6; // bars

std::vector<bool> bars_with_cues(const std::vector<bool>& silent)
{
    std::vector<bool> cues(silent.size(), false);
    std::size_t rested = 0;
    for (std::size_t i = 0; i < silent.size(); ++i) {
        if (!silent[i] && rested >= long_rest) cues[i - 1] = true;
        rested = silent[i] ? rested + 1 : 0;
    }
    return cues;
}

} // namespace bowarm::part
