#include "bow/off_string.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// Common practice, no source: nearer the frog the hand cannot let go, beyond the middle the bow flies off.
constexpr HairFraction nearest_frog{0.22};
constexpr HairFraction nearest_tip{0.60};
constexpr double touching_share = 0.55; // of a bounce, at any rate
constexpr Seconds longest_touch{0.09};
constexpr Hertz unknown_rate{4};
// Heavy spiccato is thrown by the arm near the frog, stroke by stroke, so it can be loud and slow but not quick; most of all on cello
// and bass.  Common practice, no source.
constexpr Hertz heavy_fastest{5};

} // namespace

bool is_heavy_spiccato(const Instrument& i, Technique technique, Loudness loudness) noexcept
{
    return technique == Technique::spiccato && loudness > i.spiccato_loudest;
}

OffString fitting_bounce(const Instrument& i, Technique technique, Hertz rate, Loudness loudness) noexcept
{
    if (technique != Technique::spiccato && technique != Technique::sautille) return {technique};
    if (is_heavy_spiccato(i, technique, loudness) && !(rate > heavy_fastest)) return {technique};
    if (loudness > i.spiccato_loudest)
        return {technique == Technique::spiccato ? Technique::staccato : Technique::detache, GivesWay::too_loud};
    if (!(rate > Hertz{0})) return {technique};
    if (rate > i.sautille.high) return {Technique::detache, GivesWay::too_fast};
    if (technique == Technique::spiccato) {
        if (rate > i.spiccato.high) return {Technique::sautille, GivesWay::too_fast};
        if (rate < i.spiccato.low) return {Technique::staccato, GivesWay::too_slow};
        return {technique};
    }
    if (rate < i.spiccato.low) return {Technique::staccato, GivesWay::too_slow};
    if (rate < i.sautille.low) return {Technique::spiccato, GivesWay::too_slow};
    return {technique};
}

BouncingBow bouncing_bow(const Instrument& i) noexcept { return {i.hair_tension, i.hair_between, i.bow_inertia, i.restitution}; }

HairFraction bounce_place(const Instrument& i, Hertz rate) noexcept
{
    const Metres place = bouncing_place(bouncing_bow(i), rate > Hertz{0} ? rate : unknown_rate);
    return clamp(HairFraction{place / i.hair_between}, nearest_frog, nearest_tip);
}

Seconds contact_time(Hertz rate) noexcept
{
    const Seconds touch{touching_share / (rate > Hertz{0} ? rate.value : unknown_rate.value)};
    return touch < longest_touch ? touch : longest_touch;
}

} // namespace bowarm
