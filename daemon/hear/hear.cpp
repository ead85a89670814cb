#include "hear/hear.hpp"

namespace bowarm
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1, controller numbers.
constexpr int bank_high = 0;
constexpr int bank_low = 32;
constexpr int sustain = 64;
constexpr int all_sound_off = 120;
constexpr int reset_all = 121;
constexpr int local_control = 122;
constexpr int switch_on_from = 64;

double part_of_127(Midi7 value) { return static_cast<double>(value.get()) / 127.0; }

// 0..1 of the way from `from` to `to`; beyond them nothing more happens.
double part_of_range(const PersonControl& control, Midi7 value)
{
    const double whole = control.to.get() - control.from.get();
    const double part = (value.get() - control.from.get()) / whole;
    return part < 0 ? 0 : (part > 1 ? 1 : part);
}

// 64 is the middle of a 7-bit controller that moves all its way, and has to be exactly the middle here.
double contact_point_of(const PersonControl& control, Midi7 value)
{
    constexpr PersonControl all_the_way;
    if (control.from != all_the_way.from || control.to != all_the_way.to) return part_of_range(control, value);
    const double v = value.get();
    return v <= 64 ? v / 128.0 : 0.5 + (v - 64.0) / 126.0;
}

StringName string_of_argument(std::uint8_t argument)
{
    const auto letters = string_argument_by_letter(0);
    if (argument >= letters) return {0, static_cast<std::uint8_t>((argument - letters) % 12)};
    return {argument, 0};
}

double place_of(ContactZone zone) { return zone == ContactZone::sul_ponticello ? 1.0 : zone == ContactZone::sul_tasto ? 0.0 : 0.5; }

bool is(const PersonControl& control, Midi7 number) { return control.kind == PersonController::control_change && control.number == number; }

} // namespace

Gesture Hearing::hear(const Input& input) noexcept
{
    Gesture gesture{.at = input.at, .source = input.source};
    switch (input.kind) {
    case InputKind::midi:
        return hear_message(input);
    case InputKind::command:
        return hear_command(gesture, input);
    case InputKind::port_lost:
    case InputKind::gap:
        gesture.kind = GestureKind::release_source;
        break;
    case InputKind::port_back:
    case InputKind::configured:
        break;
    case InputKind::tempo:
        gesture.number = microseconds_a_quarter(input);
        if (gesture.number > 0) gesture.kind = GestureKind::tempo;
        break;
    case InputKind::meter:
        gesture.number = input.data[0];
        gesture.beat_unit = input.data[1];
        if (gesture.number > 0 && gesture.beat_unit <= 6) gesture.kind = GestureKind::meter;
        break;
    }
    return gesture;
}

Gesture Hearing::hear_message(const Input& input) noexcept
{
    Gesture gesture{.at = input.at, .source = input.source};
    const Message message = as_message(input);
    if (message.size == 0) return gesture;
    if (message.kind() == MessageKind::system) return hear_system(gesture, message);
    if (message.is_note_on()) gesture.note = notes_++;
    if (controls_.channel && *controls_.channel != message.channel()) return gesture;
    gesture.message = message;
    switch (message.kind()) {
    case MessageKind::note_on:
    case MessageKind::note_off:
        return hear_key(gesture, message);
    case MessageKind::control_change:
        return hear_controller(gesture, message);
    case MessageKind::channel_pressure:
        return hear_pressure(gesture, message.first());
    case MessageKind::program_change:
        // The arm selects the sounds: a person's program never reaches the target, which would undo it.
        return act(gesture, controls_.programs[message.first().get()], true);
    default:
        gesture.kind = GestureKind::pass;
        return gesture;
    }
}

Gesture Hearing::hear_pressure(Gesture gesture, Midi7 value) noexcept
{
    gesture.kind = GestureKind::pass;
    if (controls_.loudness.kind == PersonController::channel_pressure) {
        gesture.kind = GestureKind::loudness;
        gesture.value = part_of_range(controls_.loudness, value);
    } else if (controls_.contact_point.kind == PersonController::channel_pressure) {
        gesture.kind = GestureKind::contact_point;
        gesture.value = contact_point_of(controls_.contact_point, value);
    } else if (controls_.amount.kind == PersonController::channel_pressure) {
        gesture.kind = GestureKind::amount;
        gesture.value = part_of_127(value);
    }
    return gesture;
}

// MIDI 1.0 Detailed Specification, system real time and song position pointer (low half first).
Gesture Hearing::hear_system(Gesture gesture, const Message& message) noexcept
{
    switch (message.bytes[0]) {
    case 0xF2:
        gesture.kind = GestureKind::song_position;
        gesture.number = static_cast<std::uint32_t>(message.second().get()) << 7 | message.first().get();
        break;
    case 0xF8:
        gesture.kind = GestureKind::clock;
        break;
    case 0xFA:
        gesture.kind = GestureKind::clock_start;
        break;
    case 0xFB:
        gesture.kind = GestureKind::clock_continue;
        break;
    case 0xFC:
        gesture.kind = GestureKind::clock_stop;
        break;
    default:
        break;
    }
    return gesture;
}

Gesture Hearing::hear_key(Gesture gesture, const Message& message) noexcept
{
    gesture.pitch = message.first();
    gesture.velocity = message.second();
    const Action& action = controls_.keys[gesture.pitch.get()];
    if (action.kind != ActionKind::none) return act(gesture, action, message.is_note_on());
    gesture.kind = message.is_note_on() ? GestureKind::key_down : GestureKind::key_up;
    return gesture;
}

Gesture Hearing::hear_controller(Gesture gesture, const Message& message) noexcept
{
    const Midi7 number = message.first();
    const Midi7 value = message.second();
    if (is(controls_.loudness, number)) {
        gesture.kind = GestureKind::loudness;
        gesture.value = part_of_range(controls_.loudness, value);
        return gesture;
    }
    if (is(controls_.contact_point, number)) {
        gesture.kind = GestureKind::contact_point;
        gesture.value = contact_point_of(controls_.contact_point, value);
        return gesture;
    }
    if (is(controls_.amount, number)) {
        gesture.kind = GestureKind::amount;
        gesture.value = part_of_127(value);
        return gesture;
    }
    bool is_control = false;
    for (const ControllerAction& c : controls_.controllers) {
        if (c.number != number) continue;
        is_control = true;
        const bool inside = c.low <= value && value <= c.high;
        const ActionKind kind = c.action.kind;
        const bool is_switch = kind == ActionKind::same_bow || kind == ActionKind::bypass || kind == ActionKind::alternate ||
                               kind == ActionKind::down_bows || kind == ActionKind::mute || kind == ActionKind::string ||
                               kind == ActionKind::open_strings;
        if (inside || is_switch) return act(gesture, c.action, inside);
    }
    if (is_control) return gesture;
    if (number.get() == sustain && controls_.sustain != SustainMeaning::pass) {
        if (controls_.sustain == SustainMeaning::ignore) return gesture;
        gesture.kind = GestureKind::same_bow;
        gesture.on = value.get() >= switch_on_from;
        return gesture;
    }
    if (number.get() >= all_sound_off) {
        // 120, 123 and the mode messages 124..127 all mean that this input's notes are off.
        const bool ends_notes = number.get() != reset_all && number.get() != local_control;
        if (ends_notes) gesture.kind = GestureKind::release_source;
        return gesture;
    }
    if (number.get() == bank_high || number.get() == bank_low) return gesture; // belongs to a program change
    gesture.kind = GestureKind::pass;
    return gesture;
}

Gesture Hearing::hear_command(Gesture gesture, const Input& input) noexcept
{
    const std::uint8_t argument = input.data[1];
    switch (static_cast<Command>(input.data[0])) {
    case Command::panic:
        gesture.kind = GestureKind::panic;
        break;
    case Command::bypass_on:
    case Command::bypass_off:
        gesture.kind = GestureKind::bypass;
        gesture.on = static_cast<Command>(input.data[0]) == Command::bypass_on;
        bypassed_ = gesture.on;
        break;
    case Command::select_technique:
        if (argument >= technique_count) break;
        gesture.kind = GestureKind::technique;
        gesture.technique = static_cast<Technique>(argument);
        break;
    case Command::read_technique:
        gesture.kind = GestureKind::read_technique;
        break;
    case Command::amount:
        gesture.kind = GestureKind::amount;
        gesture.value = part_of_127(Midi7::nearest(argument));
        break;
    case Command::next_down:
    case Command::next_up:
        gesture.kind = GestureKind::next_direction;
        gesture.direction = static_cast<Command>(input.data[0]) == Command::next_down ? Direction::down : Direction::up;
        break;
    case Command::next_retake:
        gesture.kind = GestureKind::next_retake;
        break;
    case Command::same_bow_on:
    case Command::same_bow_off:
        gesture.kind = GestureKind::same_bow;
        gesture.on = static_cast<Command>(input.data[0]) == Command::same_bow_on;
        break;
    case Command::tap_beat:
        gesture.kind = GestureKind::tap_beat;
        break;
    case Command::tap_bar:
        gesture.kind = GestureKind::tap_bar;
        break;
    case Command::target_unknown:
        gesture.kind = GestureKind::target_unknown;
        break;
    case Command::alternate_on:
    case Command::alternate_off:
        gesture.kind = GestureKind::alternate;
        gesture.on = static_cast<Command>(input.data[0]) == Command::alternate_on;
        alternating_ = gesture.on;
        break;
    case Command::loudness:
        gesture.kind = GestureKind::loudness;
        gesture.value = part_of_127(Midi7::nearest(argument));
        break;
    case Command::contact_point:
        gesture.kind = GestureKind::contact_point;
        gesture.value = contact_point_of({}, Midi7::nearest(argument));
        break;
    case Command::mute_on:
    case Command::mute_off:
        gesture.kind = GestureKind::mute;
        gesture.on = static_cast<Command>(input.data[0]) == Command::mute_on;
        muted_ = gesture.on;
        break;
    case Command::down_bows_on:
    case Command::down_bows_off:
        gesture.kind = GestureKind::down_bows;
        gesture.on = static_cast<Command>(input.data[0]) == Command::down_bows_on;
        break;
    case Command::string_on:
    case Command::string_off:
        gesture.kind = GestureKind::string;
        gesture.on = static_cast<Command>(input.data[0]) == Command::string_on;
        gesture.string = string_of_argument(argument);
        break;
    case Command::open_strings_on:
    case Command::open_strings_off:
        gesture.kind = GestureKind::open_strings;
        gesture.on = static_cast<Command>(input.data[0]) == Command::open_strings_on;
        break;
    case Command::bow_at:
        gesture.kind = GestureKind::bow_at;
        gesture.direction = argument == 0 ? Direction::down : Direction::up;
        gesture.value = (input.data[3] + 256.0 * input.data[4]) / 65535.0;
        gesture.number = input.data[5];
        break;
    case Command::take_begin:
    case Command::take_end:
    case Command::keep_take:
    case Command::hear_take:
    case Command::choose_player: // Hands acts on it
        break;
    }
    return gesture;
}

// A key turns it over each time it goes down; a controller says which.
Gesture Hearing::toggle(Gesture gesture, GestureKind kind, bool& state) noexcept
{
    const bool from_controller = gesture.message.kind() == MessageKind::control_change;
    if (!from_controller && !gesture.on) return gesture;
    state = from_controller ? gesture.on : !state;
    gesture.kind = kind;
    gesture.on = state;
    return gesture;
}

Gesture Hearing::act(Gesture gesture, const Action& action, bool on) noexcept
{
    gesture.on = on;
    if (action.kind == ActionKind::same_bow) {
        gesture.kind = GestureKind::same_bow;
        return gesture;
    }
    if (action.kind == ActionKind::down_bows) {
        gesture.kind = GestureKind::down_bows;
        return gesture;
    }
    if (action.kind == ActionKind::mute) return toggle(gesture, GestureKind::mute, muted_);
    if (action.kind == ActionKind::string) {
        gesture.kind = GestureKind::string;
        gesture.string = action.string;
        return gesture;
    }
    if (action.kind == ActionKind::open_strings) {
        gesture.kind = GestureKind::open_strings;
        return gesture;
    }
    if (action.kind == ActionKind::bypass) return toggle(gesture, GestureKind::bypass, bypassed_);
    if (action.kind == ActionKind::alternate) return toggle(gesture, GestureKind::alternate, alternating_);
    if (!on) return gesture; // the rest acts on the way down only
    switch (action.kind) {
    case ActionKind::select_technique:
        gesture.kind = GestureKind::technique;
        gesture.technique = action.technique;
        break;
    case ActionKind::read_technique:
        gesture.kind = GestureKind::read_technique;
        break;
    case ActionKind::panic:
        gesture.kind = GestureKind::panic;
        break;
    case ActionKind::next_down:
    case ActionKind::next_up:
        gesture.kind = GestureKind::next_direction;
        gesture.direction = action.kind == ActionKind::next_down ? Direction::down : Direction::up;
        break;
    case ActionKind::next_retake:
        gesture.kind = GestureKind::next_retake;
        break;
    case ActionKind::tap_beat:
        gesture.kind = GestureKind::tap_beat;
        break;
    case ActionKind::tap_bar:
        gesture.kind = GestureKind::tap_bar;
        break;
    case ActionKind::contact_zone:
        gesture.kind = GestureKind::contact_point;
        gesture.value = place_of(action.zone);
        break;
    case ActionKind::none:
    case ActionKind::down_bows:
    case ActionKind::mute:
    case ActionKind::same_bow:
    case ActionKind::alternate:
    case ActionKind::bypass:
    case ActionKind::string:
    case ActionKind::open_strings:
    case ActionKind::take:
    case ActionKind::keep_take:
    case ActionKind::hear_take:
    case ActionKind::player: // Hands acts on these
    case ActionKind::next_player:
    case ActionKind::previous_player:
        break;
    }
    return gesture;
}

} // namespace bowarm
