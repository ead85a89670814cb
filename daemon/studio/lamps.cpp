#include "studio/lamps.hpp"

namespace bowarm
{

Lamps::Messages Lamps::show(const Snapshot& snapshot) noexcept
{
    const bool down = snapshot.direction == Direction::down;
    const double left = down ? 1 - snapshot.hair.value : snapshot.hair.value;
    if (snapshot.strokes != strokes_) warned_ = false;
    if (snapshot.warnings != warnings_) warned_ = true;
    strokes_ = snapshot.strokes;
    warnings_ = snapshot.warnings;
    Messages messages;
    set(messages, 0, settings_.hair_left, static_cast<int>(left * 127 + 0.5));
    set(messages, 1, settings_.down, snapshot.sounding && down ? 127 : 0);
    set(messages, 2, settings_.up, snapshot.sounding && !down ? 127 : 0);
    set(messages, 3, settings_.warning, warned_ ? 127 : 0);
    return messages;
}

void Lamps::set(Messages& messages, std::size_t place, const Lamp& lamp, int value) noexcept
{
    if (lamp.kind == LampKind::none || shown_[place] == value) return;
    shown_[place] = value;
    const Midi7 shown = Midi7::nearest(value);
    if (lamp.kind == LampKind::control_change)
        messages.push_back(control_change(settings_.channel, lamp.number, shown));
    else
        messages.push_back(value > 0 ? note_on(settings_.channel, lamp.number, shown) : note_off(settings_.channel, lamp.number));
}

} // namespace bowarm
