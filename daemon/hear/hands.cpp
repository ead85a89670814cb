#include "hear/hands.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1: pedals and switches, on from 64; channel mode messages.
constexpr int first_switch = 64, last_switch = 69, on_from = 64;
constexpr int all_sound_off = 120, reset_all = 121, local_control = 122;
constexpr std::uint16_t bend_centre = 8192;
constexpr std::size_t keys_of_a_source = 16 * 128;

bool is(const PersonControl& control, const Message& message)
{
    if (message.kind() == MessageKind::channel_pressure) return control.kind == PersonController::channel_pressure;
    return control.kind == PersonController::control_change && message.kind() == MessageKind::control_change &&
           control.number == message.first();
}

bool chooses(const Action& action)
{
    return action.kind == ActionKind::player || action.kind == ActionKind::next_player || action.kind == ActionKind::previous_player;
}

bool is_for_takes(const Action& action)
{
    return action.kind == ActionKind::take || action.kind == ActionKind::keep_take || action.kind == ActionKind::hear_take;
}

bool passes(const InputFilter& filter, const Message& message)
{
    const bool is_time = message.kind() == MessageKind::system;
    const bool is_key = message.kind() == MessageKind::note_on || message.kind() == MessageKind::note_off;
    if (!is_time && filter.channel && *filter.channel != message.channel()) return false;
    switch (filter.role) {
    case InputRole::all:
        return true;
    case InputRole::playing:
        return !is_time;
    case InputRole::controllers:
        return !is_time && !is_key;
    case InputRole::time:
        return is_time;
    }
    return true;
}

} // namespace

Hands::Hands(std::span<const Part> parts, std::span<const InputFilter> filters, const Controls& controls)
    : parts_(parts.begin(), parts.end()), filters_(filters.begin(), filters.end()), controls_(controls),
      all_(parts.size() >= players_at_most ? ~PlayerSet{0} : only(parts.size()) - 1), keys_(keys_of_a_source * inputs_at_most),
      down_(keys_.size()), held_(inputs_at_most * 128)
{
    filters_.resize(inputs_at_most);
    for (std::size_t i = 0; i < parts_.size(); ++i)
        if (parts_[i].under_hands) choosable_ |= only(i);
    while (choosable_ != 0 && (choosable_ & only(chosen_)) == 0) ++chosen_;
}

PlayerSet Hands::hear(const Input& input) noexcept
{
    const std::size_t source = input.source.number;
    switch (input.kind) {
    case InputKind::midi:
        if (source >= inputs_at_most) return all_;
        return passes(filters_[source], as_message(input)) ? hear_message(input, as_message(input)) : 0;
    case InputKind::command:
        if (static_cast<Command>(input.data[0]) == Command::choose_player) return choose(input.data[1]), 0;
        if (input.data[2] == 0) return all_;
        return input.data[2] <= parts_.size() ? only(input.data[2] - 1U) : 0;
    case InputKind::port_lost:
    case InputKind::gap:
        if (source < inputs_at_most) forget_source(source);
        return all_;
    case InputKind::port_back:
    case InputKind::tempo:
    case InputKind::meter:
        return all_;
    case InputKind::configured:
        return 0;
    }
    return all_;
}

bool Hands::asks_for_panic(const Input& input) const noexcept
{
    if (input.kind == InputKind::command) return static_cast<Command>(input.data[0]) == Command::panic;
    if (input.kind != InputKind::midi) return false;
    const Message message = as_message(input);
    if (message.is_note_on()) return controls_.keys[message.first().get()].kind == ActionKind::panic;
    if (message.kind() == MessageKind::program_change) return controls_.programs[message.first().get()].kind == ActionKind::panic;
    return message.kind() == MessageKind::control_change &&
           std::any_of(controls_.controllers.begin(), controls_.controllers.end(), [&](const ControllerAction& c) {
               return c.action.kind == ActionKind::panic && c.number == message.first() && c.low <= message.second() &&
                      message.second() <= c.high;
           });
}

PlayerSet Hands::hear_message(const Input& input, const Message& message) noexcept
{
    const std::size_t source = input.source.number;
    switch (message.kind()) {
    case MessageKind::system:
        return on_source(source);
    case MessageKind::note_on:
    case MessageKind::note_off:
        return hear_key(input, message);
    case MessageKind::control_change:
        return hear_controller(input, message);
    case MessageKind::program_change:
        if (act(controls_.programs[message.first().get()])) return 0;
        return listeners(source, message.channel()) | kept_of(source, controls_.programs[message.first().get()]);
    case MessageKind::pitch_bend: {
        const PlayerSet players = listeners(source, message.channel()) | bent_[source];
        bent_[source] = (message.second().get() << 7 | message.first().get()) == bend_centre ? 0 : players;
        return players;
    }
    default:
        remember_pedal(input, message);
        break;
    }
    return listeners(source, message.channel());
}

PlayerSet Hands::hear_key(const Input& input, const Message& message) noexcept
{
    const Midi7 key = message.first();
    const std::size_t place = input.source.number * keys_of_a_source + message.channel().get() * 128U + key.get();
    PlayerSet& players = keys_[place];
    const Action& action = controls_.keys[key.get()];
    const PlayerSet heard_by = listeners(input.source.number, message.channel()) | kept_of(input.source.number, action);
    if (message.is_note_off()) {
        set_down(place, false);
        return players != 0 ? players : heard_by;
    }
    if (chooses(action)) return act(action), 0;
    const PlayerSet begins = action.kind != ActionKind::none ? heard_by : in_range(heard_by, key);
    players = down_[place] ? players | begins : begins;
    set_down(place, begins != 0 || down_[place]);
    return begins;
}

PlayerSet Hands::hear_controller(const Input& input, const Message& message) noexcept
{
    const std::size_t source = input.source.number;
    const int number = message.first().get();
    const bool ends_notes = number >= all_sound_off && number != reset_all && number != local_control;
    if (ends_notes) {
        forget_source(source);
        return on_source(source);
    }
    bool is_switch = number >= first_switch && number <= last_switch;
    bool on = message.second().get() >= on_from;
    PlayerSet keeping = 0;
    for (const ControllerAction& c : controls_.controllers) {
        if (c.number != message.first()) continue;
        const bool inside = c.low <= message.second() && message.second() <= c.high;
        if (chooses(c.action)) {
            if (inside) act(c.action);
            return 0;
        }
        on = is_switch ? on || inside : inside;
        is_switch = true;
        keeping |= kept_of(source, c.action);
    }
    const PlayerSet now = listeners(source, message.channel()) | keeping;
    if (!is_switch) {
        remember_pedal(input, message);
        return now;
    }
    PlayerSet& held = held_[source * 128 + static_cast<std::size_t>(number)];
    const PlayerSet players = now | held;
    held = on ? players : 0;
    return players;
}

std::optional<Input> Hands::as_heard(const Input& input, std::size_t player) const noexcept
{
    const Part& part = parts_[player];
    if (part.transpose == 0 || input.kind != InputKind::midi || input.source.number >= inputs_at_most) return input;
    const Message message = as_message(input);
    const bool is_key = message.kind() == MessageKind::note_on || message.kind() == MessageKind::note_off;
    if (!is_key || controls_.keys[message.first().get()].kind != ActionKind::none) return input;
    const int key = message.first().get() + part.transpose;
    if (key < 0 || key > 127 || controls_.keys[static_cast<std::size_t>(key)].kind != ActionKind::none) return std::nullopt;
    Input moved = input;
    moved.data[1] = static_cast<std::uint8_t>(key);
    return moved;
}

bool Hands::choose(std::size_t player) noexcept
{
    if (player >= parts_.size() || (choosable_ & only(player)) == 0) return false;
    chosen_ = player;
    return true;
}

void Hands::take_up(const Hands& before) noexcept
{
    pedals_ = before.pedals_;
    choose(before.chosen_);
}

bool Hands::act(const Action& action) noexcept
{
    if (action.kind == ActionKind::player) choose(action.player);
    if (action.kind == ActionKind::next_player) step(1);
    if (action.kind == ActionKind::previous_player) step(parts_.size() - 1);
    return chooses(action);
}

void Hands::step(std::size_t by) noexcept
{
    if (choosable_ == 0) return;
    do chosen_ = (chosen_ + by) % parts_.size();
    while ((choosable_ & only(chosen_)) == 0);
}

PlayerSet Hands::on_source(std::size_t source) const noexcept
{
    PlayerSet players = 0;
    for (std::size_t i = 0; i < parts_.size(); ++i)
        if ((parts_[i].inputs >> source & 1U) != 0) players |= only(i);
    return players;
}

PlayerSet Hands::listeners(std::size_t source, Channel channel) const noexcept
{
    PlayerSet players = on_source(source);
    for (std::size_t i = 0; i < parts_.size(); ++i) {
        const Part& part = parts_[i];
        const bool elsewhere = part.channel && *part.channel != channel;
        if (elsewhere || (part.under_hands && i != chosen_)) players &= ~only(i);
    }
    return players;
}

// Takes are heard of whoever is under the hands: by the first player on the input, for all.
PlayerSet Hands::kept_of(std::size_t source, const Action& action) const noexcept
{
    const PlayerSet all = on_source(source);
    return is_for_takes(action) ? all & (~all + 1) : 0;
}

PlayerSet Hands::in_range(PlayerSet players, Midi7 key) const noexcept
{
    for (std::size_t i = 0; i < parts_.size(); ++i)
        if (key < parts_[i].from || key > parts_[i].to) players &= ~only(i);
    return players;
}

void Hands::forget_source(std::size_t source) noexcept
{
    for (std::size_t i = 0; i < keys_of_a_source; ++i) set_down(source * keys_of_a_source + i, false);
}

void Hands::remember_pedal(const Input& input, const Message& message) noexcept
{
    for (const PersonControl* control : {&controls_.loudness, &controls_.contact_point, &controls_.amount}) {
        if (!is(*control, message)) continue;
        const auto known = std::find_if(pedals_.begin(), pedals_.end(), [&](const Input& p) { return is(*control, as_message(p)); });
        if (known != pedals_.end())
            *known = input;
        else
            pedals_.push_back(input);
    }
}

void Hands::set_down(std::size_t key, bool down) noexcept
{
    if (down_[key] != down) keys_down_ += down ? 1 : -1;
    down_[key] = down;
}

} // namespace bowarm
