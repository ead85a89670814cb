#include "bow/harmonics.hpp"

namespace bowarm
{
namespace
{

constexpr int nodes[] = {12, 19, 24, 28, 31, 36};
constexpr int touched_fourth = 24;
constexpr int highest_stop = 19; // above the open string: an octave and a fifth

} // namespace

std::optional<std::uint8_t> natural_harmonic(const Instrument& instrument, Midi7 sounding) noexcept
{
    for (const int node : nodes)
        for (std::size_t s = 0; s < instrument.strings.size(); ++s)
            if (sounding.get() - instrument.strings[s].open_key.get() == node) return static_cast<std::uint8_t>(s);
    return std::nullopt;
}

std::optional<std::uint8_t> artificial_harmonic(const Instrument& instrument, Midi7 sounding) noexcept
{
    for (std::size_t s = instrument.strings.size(); s > 0; --s) {
        const int stop = sounding.get() - touched_fourth - instrument.strings[s - 1].open_key.get();
        if (stop > 0 && stop <= highest_stop) return static_cast<std::uint8_t>(s - 1);
    }
    return std::nullopt;
}

Harmonic fitting_harmonic(const Instrument& instrument, Technique asked, Midi7 sounding) noexcept
{
    const std::optional<std::uint8_t> natural = natural_harmonic(instrument, sounding);
    const std::optional<std::uint8_t> artificial = artificial_harmonic(instrument, sounding);
    if (natural && (asked == Technique::harmonic || !artificial)) return {Technique::harmonic, natural};
    if (artificial) return {Technique::artificial_harmonic, artificial};
    return {};
}

} // namespace bowarm
