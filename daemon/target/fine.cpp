#include "target/fine.hpp"

namespace bowarm
{

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
