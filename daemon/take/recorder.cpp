#include "take/take.hpp"

#include <algorithm>

namespace bowarm
{

void Recorder::saw(Time at)
{
    const bool first = inputs_.empty() && sent_.empty() && facts_.empty();
    latest_ = first ? at : std::max(latest_, at);
}

void Recorder::input(const Input& input)
{
    saw(input.at);
    inputs_.push_back(input);
}

void Recorder::bundle(Time at, std::span<const Message> messages) noexcept
{
    saw(at);
    for (const Message& message : messages) sent_.push_back({at, message});
}

void Recorder::curve(Time at, Controller controller, int value) noexcept
{
    const auto messages = curve_messages(controller, value);
    bundle(at, {messages.data(), messages.size()});
}

void Recorder::fact(const Fact& fact) noexcept
{
    saw(fact.at);
    facts_.push_back(fact);
}

void Recorder::decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept
{
    // Told again of the same note, the later word holds.
    if (!decisions_.empty() && decisions_.back().note == note) decisions_.pop_back();
    decisions_.push_back({at, note, needs, direction, retake});
}

void Recorder::clear()
{
    decisions_.clear();
    inputs_.clear();
    sent_.clear();
    facts_.clear();
}

FixedVector<Message, 2> curve_messages(Controller controller, int value) noexcept
{
    FixedVector<Message, 2> messages;
    const Midi7 seven = Midi7::nearest(value);
    const Midi14 fourteen = Midi14::nearest(value);
    switch (controller.kind) {
    case ControllerKind::control_change:
        messages.push_back(control_change(controller.channel, controller.number, seven));
        break;
    case ControllerKind::control_change_14:
        messages.push_back(control_change(controller.channel, controller.number, fourteen.high()));
        messages.push_back(control_change(controller.channel, Midi7::nearest(controller.number.get() + 32), fourteen.low()));
        break;
    case ControllerKind::channel_pressure:
        messages.push_back(channel_pressure(controller.channel, seven));
        break;
    case ControllerKind::pitch_bend:
        messages.push_back(pitch_bend(controller.channel, fourteen));
        break;
    }
    return messages;
}

} // namespace bowarm
