#include "target/speaking_delay.hpp"

#include "target/target_spec.hpp"

namespace bowarm
{
namespace
{

constexpr int octave = 12;
constexpr int widest = 2 * octave;
constexpr Midi7 softest = Midi7::nearest(1);

} // namespace

Seconds speaks_after(const SpeakingDelay& delay, Midi7 velocity, std::optional<int> interval) noexcept
{
    const double softness = (127.0 - velocity.get()) / 126.0;
    Seconds after = (interval ? delay.connected : delay.first) + delay.softest_adds * softness;
    if (interval) {
        const int wide = *interval < 0 ? -*interval : *interval;
        after = after + delay.octave_adds * (static_cast<double>(wide < widest ? wide : widest) / octave);
    }
    return clamp(after, Seconds{0}, longest_speaking_delay);
}

Seconds longest_delay(const TargetSpec& target) noexcept
{
    Seconds longest{0};
    for (const TechniqueWay& way : target.techniques) {
        if (!way.present) continue;
        const Seconds first = speaks_after(way.speaking, softest, std::nullopt);
        const Seconds connected = speaks_after(way.speaking, softest, widest);
        if (longest < first) longest = first;
        if (longest < connected) longest = connected;
    }
    return longest;
}

Seconds time_ahead(const TargetSpec& target) noexcept { return longest_delay(target) + target.switch_lead; }

} // namespace bowarm
