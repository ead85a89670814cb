#include "bow/place.hpp"

#include "base/arithmetic.hpp"
#include "bow/off_string.hpp"

namespace bowarm
{
namespace
{

constexpr double softest_place = 0.66;
constexpr double loudest_place = 0.30;
constexpr double accented_place = 0.25;
constexpr double heavy_accent = 1.25;
constexpr Hertz quick{5};
constexpr double quick_place = 0.45;
constexpr double heavy_spiccato_place = 0.14;
constexpr double floating_place = 0.66;
constexpr double thrown_place = 0.62;
constexpr double soft_tremolo_place = 0.86;
constexpr double loud_tremolo_place = 0.50;

constexpr double drift_strength = 1.2;
constexpr double drift_most = 0.3;

} // namespace

HairFraction preferred_place(const Instrument& instrument, Technique technique, Hertz rate, Loudness loudness, double accent) noexcept
{
    if (is_heavy_spiccato(instrument, technique, loudness)) return HairFraction{heavy_spiccato_place};
    switch (technique) {
    case Technique::flautando:
        return HairFraction{floating_place};
    case Technique::spiccato:
    case Technique::sautille:
    case Technique::col_legno_battuto:
        return bounce_place(instrument, rate);
    case Technique::ricochet:
        return HairFraction{thrown_place};
    case Technique::tremolo:
        return HairFraction{between(soft_tremolo_place, loud_tremolo_place, loudness.value)};
    default:
        break;
    }
    if (accent >= heavy_accent) return HairFraction{accented_place};
    const double by_loudness = between(softest_place, loudest_place, loudness.value);
    return HairFraction{rate > quick ? (by_loudness + quick_place) / 2 : by_loudness};
}

double drift(HairFraction preferred, HairFraction from, HairFraction length, Direction direction) noexcept
{
    const double middle = from.value + sign(direction) * length.value / 2;
    const double wish = (preferred.value - middle) * sign(direction) * drift_strength;
    return 1 + (wish < -drift_most ? -drift_most : (wish > drift_most ? drift_most : wish));
}

} // namespace bowarm
