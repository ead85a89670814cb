#include "midi/controller_messages.hpp"

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

} // namespace bowarm
