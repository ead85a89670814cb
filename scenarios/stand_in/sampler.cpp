#include "sampler.hpp"

#include <algorithm>
#include <cmath>

namespace bowarm::stand_in
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1, controller numbers.
constexpr int expression = 11, all_sound_off = 120, all_controllers_off = 121, all_notes_off = 123;

constexpr double dynamics_at_start = 0.5;
constexpr double range_decibels = 24;
constexpr double whole_level = 0.8; // a loud note alone comes to a third of full scale, or half where the wood helps it
constexpr float short_level = 1.4F; // a sound that is soon over is heard as softer than it is
constexpr Seconds release{0.12};

float decibels(double d) { return static_cast<float>(std::pow(10.0, d / 20)); }

// One layer fades into the next; where a layer is alone it is heard as it was recorded.
Mix mix_at(double dynamics)
{
    const double place = std::clamp((dynamics - 0.2) / 0.6, 0.0, 1.0) * (layer_count - 1);
    const auto low = std::min<std::size_t>(static_cast<std::size_t>(place), layer_count - 2);
    const auto part = static_cast<float>(place - static_cast<double>(low));
    const float level = dynamics <= 0 ? 0 : decibels(range_decibels * (dynamics - 1));
    Mix mix{};
    mix[low] = level * (1 - part);
    mix[low + 1] = level * part;
    return mix;
}

Mix mix_of_velocity(int velocity)
{
    Mix mix{};
    mix[static_cast<std::size_t>(velocity * layer_count / 128)] = short_level * decibels(range_decibels * (velocity / 127.0 - 1));
    return mix;
}

Seconds rise_of(int velocity) { return Seconds{0.004 + 0.06 * (127 - velocity) / 127.0}; }

// Straight up to seven tenths, then ever flatter, so that nothing is cut off.
double soft_limit(double x)
{
    constexpr double knee = 0.7, rest = 1 - knee;
    const double size = std::abs(x);
    if (size <= knee) return x;
    const double over = (size - knee) / rest;
    return std::copysign(knee + 0.98 * rest * over / (1 + over), x);
}

} // namespace

Sampler::Sampler(const Sounds& sounds, double rate) : sounds_(sounds), rate_(rate), body_(sounds.instrument().body, rate) {}

bool Sampler::silent() const noexcept { return count_ == 0; }

void Sampler::on(const Message& message) noexcept
{
    if (message.is_note_on())
        note_on(message.first().get(), message.second().get());
    else if (message.is_note_off())
        note_off(message.first().get());
    else if (message.kind() == MessageKind::control_change)
        controller(message.first().get(), message.second().get());
}

void Sampler::note_on(int key, int velocity) noexcept
{
    if (key < way_count) {
        way_ = static_cast<Way>(key);
        return;
    }
    note_off(key);
    switch (way_) {
    case Way::legato:
        if (slur_to(key, velocity)) break;
        [[fallthrough]];
    case Way::detache:
        begin({.sound = Sound::sustained, .key = key, .rate = rate_, .rise = rise_of(velocity)});
        break;
    case Way::marcato:
        begin({.sound = Sound::marcato, .key = key, .rate = rate_});
        break;
    case Way::tremolo:
        begin({.sound = Sound::tremolo, .key = key, .rate = rate_, .rise = rise_of(velocity)});
        break;
    case Way::staccato:
        begin({.sound = Sound::staccato, .key = key, .rate = rate_, .mix = mix_of_velocity(velocity)});
        break;
    case Way::spiccato:
        begin({.sound = Sound::spiccato, .key = key, .rate = rate_, .mix = mix_of_velocity(velocity)});
        break;
    case Way::pizzicato:
        begin({.sound = Sound::pizzicato, .key = key, .rate = rate_, .mix = mix_of_velocity(velocity)});
        break;
    }
}

// The newest note that is held gives way to the slurred one, but not before that speaks.
bool Sampler::slur_to(int key, int velocity) noexcept
{
    for (std::size_t i = count_; i > 0; --i) {
        Voice& from = voices_[i - 1];
        if (from.ending() || from.dies_by_itself()) continue;
        const Seconds late{0.06 + 0.06 * (127 - velocity) / 127.0};
        constexpr Seconds across{0.05};
        from.end(late, across);
        begin({.sound = Sound::sustained, .key = key, .rate = rate_, .later = late, .skip = Seconds{0.3}, .rise = across});
        return true;
    }
    return false;
}

void Sampler::begin(const Start& start) noexcept
{
    if (count_ == voices_.size())
        std::rotate(voices_.begin(), voices_.begin() + 1, voices_.begin() + static_cast<std::ptrdiff_t>(count_--));
    voices_[count_++] = Voice{sounds_, start};
}

// A short sound rings to its end, whatever the key does.
void Sampler::note_off(int key) noexcept
{
    for (std::size_t i = 0; i < count_; ++i)
        if (voices_[i].key() == key && !voices_[i].dies_by_itself()) voices_[i].end(Seconds{0}, release);
}

void Sampler::controller(int number, int value) noexcept
{
    if (number == expression) wanted_dynamics_ = value / 127.0;
    if (number == all_controllers_off) wanted_dynamics_ = dynamics_at_start;
    if (number != all_sound_off && number < all_notes_off) return;
    const Seconds fade = number == all_sound_off ? Seconds{0.01} : release;
    for (std::size_t i = 0; i < count_; ++i) voices_[i].end(Seconds{0}, fade);
}

void Sampler::render(std::span<float> out) noexcept
{
    const double follow = 1 / (0.015 * rate_);
    for (float& sample : out) {
        dynamics_ += follow * (wanted_dynamics_ - dynamics_);
        const Mix mix = mix_at(dynamics_);
        double sum = 0;
        for (std::size_t i = 0; i < count_; ++i) sum += voices_[i].next(voices_[i].dies_by_itself() ? voices_[i].mix() : mix);
        const auto end = std::remove_if(voices_.begin(), voices_.begin() + static_cast<std::ptrdiff_t>(count_),
                                        [](const Voice& v) { return !v.sounds(); });
        count_ = static_cast<std::size_t>(end - voices_.begin());
        sample = static_cast<float>(soft_limit(body_.next(sum * whole_level)));
    }
}

} // namespace bowarm::stand_in
