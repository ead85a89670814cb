#include "sound/rendering.hpp"

#include "base/arithmetic.hpp"
#include "player/fixture.hpp"
#include "sound/driven_string.hpp"
#include "stroke/shapes.hpp"

#include <cmath>
#include <memory>

namespace bowarm::test
{
namespace
{

constexpr std::size_t bow_every = 16; // samples between two settings of the bow: 83 microseconds

std::size_t samples(Seconds t) { return static_cast<std::size_t>(std::lround(t.value * sound_rate)); }

Motion mix(const Motion& a, const Motion& b, double u)
{
    // A bow that was or will be in the air has no contact point of its own.
    const Beta from = a.beta.value > 0 ? a.beta : b.beta;
    const Beta to = b.beta.value > 0 ? b.beta : from;
    return {MetresPerSecond{between(a.speed.value, b.speed.value, u)}, Newtons{between(a.force.value, b.force.value, u)},
            Beta{between(from.value, to.value, u)}};
}

// The bow at t: even motion between readings on neighbouring grid steps, else as last read.
Motion bow_between(const BowMoment& a, const BowMoment* b, Seconds t)
{
    if (b == nullptr || a.string != b->string || b->at - a.at > to_seconds(curve_grid) * 1.01) return a.bow;
    return mix(a.bow, b->bow, (t - a.at) / (b->at - a.at));
}

std::unique_ptr<DrivenString> new_string(std::size_t string)
{
    stk::Stk::setSampleRate(sound_rate);
    return std::make_unique<DrivenString>(string_contact(string));
}

} // namespace

Newtons as_played(const Motion& bow, const StringContact&) { return bow.force; }

StringContact string_contact(std::size_t string)
{
    const Instrument i = violin();
    return {i.strings[string].impedance, i.bridge_resistance, i.friction_difference};
}

// Equal temperament, A4 = 440 Hz.
Hertz hertz(int key) { return Hertz{440 * std::exp2((key - 69) / 12.0)}; }

StringSounds sound_of(const std::vector<BowMoment>& moments, Seconds length, const ForceRule& force)
{
    StringSounds sounds;
    std::array<std::unique_ptr<DrivenString>, 4> strings;
    const std::size_t end = samples(length);
    std::size_t now = 0;
    for (std::size_t m = 0; m < moments.size() && now < end; ++m) {
        const BowMoment& here = moments[m];
        const BowMoment* next = m + 1 < moments.size() ? &moments[m + 1] : nullptr;
        const std::size_t until = next == nullptr ? end : std::min(end, samples(next->at));
        if (here.string != no_string) {
            if (strings[here.string] == nullptr) {
                strings[here.string] = new_string(here.string);
                sounds[here.string].assign(end, 0.0);
            }
            if (here.pitch != 0) strings[here.string]->finger(hertz(here.pitch));
        }
        for (std::size_t block = now; block < until; block += bow_every) {
            const Motion bow = bow_between(here, next, Seconds{static_cast<double>(block) / sound_rate});
            for (std::size_t s = 0; s < strings.size(); ++s) {
                if (strings[s] == nullptr) continue;
                Motion drawn = s == here.string ? bow : Motion{};
                if (drawn.force > Newtons{0}) drawn.force = force(drawn, string_contact(s));
                strings[s]->set_bow(drawn);
                for (std::size_t i = block; i < std::min(until, block + bow_every); ++i) sounds[s][i] = strings[s]->next();
            }
        }
        now = until;
    }
    return sounds;
}

std::vector<double> steady_sound(std::size_t string, int key, const Motion& bow, Seconds rise, Seconds length)
{
    const auto model = new_string(string);
    model->finger(hertz(key));
    std::vector<double> sound(samples(length));
    for (std::size_t i = 0; i < sound.size(); ++i) {
        const double t = static_cast<double>(i) / sound_rate;
        Motion now = bow;
        if (t < rise.value) now.speed = bow.speed * (t / rise.value);
        model->set_bow(now);
        sound[i] = model->next();
    }
    return sound;
}

} // namespace bowarm::test
