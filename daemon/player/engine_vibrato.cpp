#include "player/engine.hpp"

namespace bowarm
{

// In bypass it goes through as it is.
void Engine::hear_vibrato(const Message& message, Time at, Sink& sink) noexcept
{
    vibrato_.moved(message.second());
    if (bypass_) {
        vibrato_sent_ = message.second();
        const auto as_it_is = leads_ ? target_.pass(message) : std::nullopt;
        if (as_it_is) sink.bundle(at, {&*as_it_is, 1});
        return;
    }
    Bundle bundle;
    add_vibrato(bundle, at);
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
}

// Empty when the target has the value already, or speaks of something else on that controller.
std::optional<Message> Engine::vibrato_message(Time at) noexcept
{
    if (!leads_) return std::nullopt;
    const std::optional<Midi7> value = vibrato_.value(at, stroke_.technique, contact_wish_);
    if (!value || value == vibrato_sent_) return std::nullopt;
    vibrato_sent_ = value;
    return target_.pass(control_change(target_.spec().channel, *config_.vibrato.controller, *value));
}

void Engine::add_vibrato(Bundle& bundle, Time at) noexcept
{
    if (const auto message = vibrato_message(at)) bundle.push_back(*message);
}

void Engine::send_vibrato(Time at, Sink& sink) noexcept
{
    const auto message = vibrato_message(at);
    if (!message) return;
    const Controller controller{message->channel(), ControllerKind::control_change, message->first()};
    sink.curve(at, controller, message->second().get());
}

} // namespace bowarm
