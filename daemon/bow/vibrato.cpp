#include "bow/vibrato.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// Wishes for the contact point between which ordinary becomes sul tasto.  Our default.
constexpr double ordinary_from = 0.35;
constexpr double sul_tasto_to = 0.12;

} // namespace

bool Vibrato::hears(const Message& message) const noexcept
{
    return manner_.controller && message.kind() == MessageKind::control_change && message.first() == *manner_.controller;
}

std::optional<Midi7> Vibrato::value(Time at, Technique technique, double contact_wish) const noexcept
{
    if (!wished_) return std::nullopt;
    double share = manner_.in[static_cast<std::size_t>(technique)];
    share *= between(manner_.in_sul_tasto, 1.0, smooth_rise((contact_wish - sul_tasto_to) / (ordinary_from - sul_tasto_to)));
    if (began_) {
        const Seconds since = to_seconds(at - *began_) - manner_.onset_delay;
        if (since < Seconds{0})
            share = 0;
        else if (since < manner_.onset_rise)
            share *= smooth_rise(since / manner_.onset_rise);
    }
    return Midi7::nearest(nearest(share * wished_->get()));
}

} // namespace bowarm
