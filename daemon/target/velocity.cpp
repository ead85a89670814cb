#include "target/velocity.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// How strongly each technique attacks, 1 = detache; our own scale.
double bite(Technique t)
{
    switch (t) {
    case Technique::legato:
    case Technique::portato:
        return 0.8;
    case Technique::staccato:
    case Technique::hooked:
        return 1.15;
    case Technique::marcato:
    case Technique::martele:
        return 1.45;
    default:
        return 1.0;
    }
}
constexpr double ordinary_attack = 84;
constexpr double softer = 0.5;

// A hand that has this long for an octave changes as quickly as velocity can say, and as slowly.  Our own numbers.
constexpr Seconds quickest{0.06};
constexpr Seconds slowest{0.6};

// 0 slow .. 1 quick, the same step for every halving of the time; a leap of an octave leaves half the time for its way.
double quickness(const NoteStart& start)
{
    const int leap = start.leap < 0 ? -start.leap : start.leap;
    const Seconds time = clamp(start.since_last / (1 + leap / 12.0), quickest, slowest);
    return log_of_two(slowest / time) / log_of_two(slowest / quickest);
}

double meant(VelocityMeaning meaning, Technique technique, const NoteStart& start)
{
    if (meaning == VelocityMeaning::loudness) return start.loudness.value * 127;
    if (meaning == VelocityMeaning::slur_speed && start.connected) return 1 + 126 * quickness(start);
    if (meaning == VelocityMeaning::attack || meaning == VelocityMeaning::slur_speed)
        return ordinary_attack * bite(technique) * start.accent;
    return start.played.get();
}

} // namespace

Midi7 velocity_of(const TechniqueWay* way, Technique technique, const NoteStart& start) noexcept
{
    double v = start.played.get();
    double low = 1;
    if (way != nullptr) {
        low = way->velocity_low.get();
        v = meant(way->velocity, technique, start);
        v = v < 1 ? 1 : (v > 127 ? 127 : v);
        v = between(low, way->velocity_high.get(), (v - 1) / 126);
    }
    if (start.again) v = between(low, v, softer);
    return Midi7::nearest(nearest(v < 1 ? 1 : v));
}

} // namespace bowarm
