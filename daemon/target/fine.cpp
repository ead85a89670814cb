#include "target/fine.hpp"

namespace bowarm
{

CurveMessages curve_messages(Controller controller, int value) noexcept
{
    CurveMessages messages;
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

CurveMessages FineHalves::messages(Controller controller, int value) const noexcept
{
    const CurveMessages both = curve_messages(controller, value);
    if (controller.kind != ControllerKind::control_change_14) return both;
    const auto high = high_[controller.channel.get()][controller.number.get() % 32U];
    if (high != static_cast<std::int8_t>(both[0].second().get())) return both;
    CurveMessages low;
    low.push_back(both[1]);
    return low;
}

void FineHalves::saw(const Message& sent) noexcept
{
    if (sent.kind() != MessageKind::control_change) return;
    const std::uint8_t number = sent.first().get();
    if (number < 32) high_[sent.channel().get()][number] = static_cast<std::int8_t>(sent.second().get());
    if (number == 121) high_[sent.channel().get()].fill(-1); // reset all controllers
}

void FineHalves::forget() noexcept
{
    for (auto& channel : high_) channel.fill(-1);
}

} // namespace bowarm
