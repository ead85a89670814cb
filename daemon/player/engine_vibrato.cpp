#include "player/engine.hpp"

namespace bowarm
{

// In bypass it goes through as it is.
void Engine::hear_vibrato(const Message& message, Time at, Sink& sink) noexcept
{
    vibrato_.moved(message.second());
    Bundle bundle;
    if (!bypass_) {
        add_vibrato(bundle, at);
    } else if (leads_) {
        vibrato_sent_ = message.second();
        target_.pass(bundle, message);
    }
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
}

// Nothing when the target has the value already, or speaks of something else on that controller.
void Engine::add_vibrato(Bundle& bundle, Time at) noexcept
{
    if (const std::optional<Midi7> value = moved_vibrato(at)) {
        vibrato_sent_ = value;
        target_.pass(bundle, control_change(target_.spec().channel, *config_.vibrato.controller, *value));
    }
}

// Empty while the target has it.
std::optional<Midi7> Engine::moved_vibrato(Time at) const noexcept
{
    const std::optional<Midi7> value = leads_ ? vibrato_.value(at, stroke_.technique, contact_wish_) : std::nullopt;
    return value == vibrato_sent_ ? std::nullopt : value;
}

void Engine::send_vibrato(Time at, Sink& sink) noexcept
{
    if (!moved_vibrato(at)) return;
    Bundle bundle;
    add_vibrato(bundle, at);
    for (const Message& m : bundle) sink.curve(at, {m.channel(), ControllerKind::control_change, m.first()}, m.second().get());
}

} // namespace bowarm
