#include "studio/control_listener.hpp"

#include "studio/controller_names.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr int sustain_pedal = 64; // MIDI 1.0, controller numbers
constexpr int switch_on_from = 64;
constexpr int halves_apart = 32;

} // namespace

void ControlListener::Travel::see(Midi7 value)
{
    lowest = std::min(lowest, value);
    highest = std::max(highest, value);
    last = value;
    values.set(value.get());
}

void ControlListener::hear(const Message& message)
{
    if (message.is_note_on()) {
        std::erase(keys_, message.first());
        keys_.push_back(message.first());
    } else if (message.kind() == MessageKind::control_change) {
        controllers_[message.first().get()].see(message.second());
    } else if (message.kind() == MessageKind::channel_pressure) {
        pressure_.see(message.first());
    }
}

SlidingControl ControlListener::described(PersonController kind, int number, const Travel& travel) const
{
    SlidingControl out{kind, Midi7::nearest(number), travel.lowest, travel.highest, false, false, travel.values.count() < 3};
    out.ends_low = travel.last.get() - travel.lowest.get() < travel.highest.get() - travel.last.get();
    out.fine = kind == PersonController::control_change && number < halves_apart &&
               controllers_[static_cast<std::size_t>(number + halves_apart)].values.any();
    return out;
}

// A low half runs through all its values again and again: where its high half moved, that is the one.
std::optional<SlidingControl> ControlListener::sliding() const
{
    const Travel* best = nullptr;
    int number = 0;
    for (int n = 0; n < 128; ++n) {
        const bool low_half =
            n >= halves_apart && n < 2 * halves_apart && controllers_[static_cast<std::size_t>(n - halves_apart)].way() > 0;
        if (is_reserved_controller(n) || n == sustain_pedal || low_half) continue;
        const Travel& travel = controllers_[static_cast<std::size_t>(n)];
        if (travel.way() == 0 || (best != nullptr && travel.way() <= best->way())) continue;
        best = &travel;
        number = n;
    }
    if (pressure_.way() > 0 && (best == nullptr || pressure_.way() > best->way()))
        return described(PersonController::channel_pressure, 0, pressure_);
    if (best == nullptr) return std::nullopt;
    return described(PersonController::control_change, number, *best);
}

std::optional<PressedPedal> ControlListener::pedal() const
{
    std::optional<PressedPedal> out;
    int way = 0;
    for (int n = 0; n < 128; ++n) {
        const Travel& travel = controllers_[static_cast<std::size_t>(n)];
        const bool both = travel.lowest.get() < switch_on_from && travel.highest.get() >= switch_on_from;
        if (is_reserved_controller(n) || travel.values.none() || !both || travel.way() <= way) continue;
        way = travel.way();
        out = PressedPedal{Midi7::nearest(n), travel.last.get() >= switch_on_from};
    }
    return out;
}

} // namespace bowarm
