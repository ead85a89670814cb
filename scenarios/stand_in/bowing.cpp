#include "bowing.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace bowarm::stand_in
{
namespace
{

struct Layer {
    MetresPerSecond speed;
    Beta beta;
};
// Piano, mezzoforte and forte: faster and nearer to the bridge.  The numbers are ours.
constexpr std::array<Layer, layer_count> layers{{
    {MetresPerSecond{0.15}, Beta{0.135}},
    {MetresPerSecond{0.28}, Beta{0.11}},
    {MetresPerSecond{0.50}, Beta{0.085}},
}};

constexpr double friction_difference = 0.5; // as in config/instruments
constexpr double share_of_highest = 0.3;    // DEVELOPERS.md, Decisions: forces
constexpr Seconds small_stroke{1 / 11.0};   // of the tremolo

// J. C. Schelleng, The bowed string and the player, J. Acoust. Soc. Am. 53 (1973): F_max = 2 Z v / (beta dmu).
Newtons force_for(const Take& take, const Layer& layer)
{
    return Newtons{share_of_highest * 2 * take.impedance.value * layer.speed.value / (layer.beta.value * friction_difference)};
}

double rise(Seconds t, Seconds over) { return std::clamp(t / over, 0.0, 1.0); }
// 0 to 1 and back, smooth at both ends.
double hill(Seconds t, Seconds over)
{
    const double part = t / over;
    return part <= 0 || part >= 1 ? 0 : std::sin(std::numbers::pi * part);
}

// A start that bites: twice the force, and the speed there at once.
Touch bite(const Layer& layer, Newtons force, Seconds t)
{
    const double extra = std::exp(-t.value / 0.05);
    return {layer.speed * (rise(t, Seconds{0.02}) * (1 + 0.5 * extra)), force * (1 + 0.8 * extra), layer.beta};
}

// Back and forth, the force never gone.
Touch shake(const Layer& layer, Newtons force, Seconds t)
{
    const double turns = t / (small_stroke * 2);
    return {layer.speed * (1.3 * std::sin(2 * std::numbers::pi * turns)), force, layer.beta};
}

Touch stopped(const Layer& layer, Newtons force, Seconds t, Seconds stop)
{
    Touch touch = bite(layer, force, t);
    if (t < stop) return touch;
    touch.speed = {};
    touch.force = touch.force * (1 - rise(t - stop, Seconds{0.03})); // the hair damps the string, then lets it go
    return touch;
}

// The finger drags the string along and lets go of it.
Touch pluck(int layer, Seconds t)
{
    constexpr std::array<double, layer_count> speeds{0.15, 0.3, 0.6};
    const bool touches = t < Seconds{0.004};
    return {MetresPerSecond{touches ? speeds[static_cast<std::size_t>(layer)] : 0}, Newtons{touches ? 40.0 : 0}, Beta{0.21}};
}

} // namespace

Touch touch_at(const Take& take, Seconds t)
{
    const Layer& layer = layers[static_cast<std::size_t>(take.layer)];
    const Newtons force = force_for(take, layer);
    switch (take.sound) {
    case Sound::sustained:
        return {layer.speed * rise(t, Seconds{0.06}), force * (1 + 0.4 * (1 - rise(t, Seconds{0.1}))), layer.beta};
    case Sound::marcato:
        return bite(layer, force, t);
    case Sound::tremolo:
        return shake(layer, force, t);
    case Sound::staccato:
        return stopped(layer, force, t, Seconds{0.12});
    case Sound::spiccato: {
        const double bounce = hill(t, Seconds{0.07});
        return {layer.speed * 1.2, force * (1.5 * bounce), layer.beta};
    }
    case Sound::pizzicato:
        return pluck(take.layer, t);
    }
    return {};
}

Seconds length_of(Sound sound)
{
    switch (sound) {
    case Sound::staccato:
        return Seconds{0.35};
    case Sound::spiccato:
        return Seconds{0.3};
    case Sound::pizzicato:
        return Seconds{0.9};
    default:
        return Seconds{1.3};
    }
}

Seconds loop_from(Sound sound)
{
    const bool sounds_on = sound == Sound::sustained || sound == Sound::marcato || sound == Sound::tremolo;
    return Seconds{sounds_on ? 0.6 : 0};
}

Seconds beat_of(Sound sound) { return sound == Sound::tremolo ? small_stroke * 2 : Seconds{}; }

} // namespace bowarm::stand_in
