#include "take/take_controls.hpp"

namespace bowarm
{
namespace
{

constexpr std::int64_t clocks_a_sixteenth = 6;

TakeAction action_of(ActionKind kind)
{
    if (kind == ActionKind::take) return TakeAction::begin_or_end;
    if (kind == ActionKind::hear_take) return TakeAction::hear;
    return kind == ActionKind::keep_take ? TakeAction::keep : TakeAction::none;
}

TakeAction action_of(Command command)
{
    if (command == Command::take_begin) return TakeAction::begin;
    if (command == Command::take_end) return TakeAction::end;
    if (command == Command::hear_take) return TakeAction::hear;
    return command == Command::keep_take ? TakeAction::keep : TakeAction::none;
}

} // namespace

TakeAction TakeControls::heard(const Input& input)
{
    if (input.kind == InputKind::command) return action_of(static_cast<Command>(input.data[0]));
    if (input.kind != InputKind::midi) return TakeAction::none;
    const Message message = as_message(input);
    if (message.size == 0 || message.kind() == MessageKind::system) return TakeAction::none;
    if (controls_.channel && *controls_.channel != message.channel()) return TakeAction::none;
    if (message.is_note_on()) return action_of(controls_.keys[message.first().get()].kind);
    if (message.kind() == MessageKind::program_change) return action_of(controls_.programs[message.first().get()].kind);
    if (message.kind() == MessageKind::control_change) return of_controller(message.first(), message.second());
    return TakeAction::none;
}

TakeAction TakeControls::of_controller(Midi7 number, Midi7 value)
{
    TakeAction action = TakeAction::none;
    std::size_t i = 0;
    for (const ControllerAction& c : controls_.controllers) {
        bool& inside = inside_[i++];
        if (c.number != number) continue;
        const bool before = inside;
        inside = c.low <= value && value <= c.high;
        if (inside && !before && action == TakeAction::none) action = action_of(c.action.kind);
    }
    return action;
}

bool SongPlace::went_back(const Input& input)
{
    if (input.kind != InputKind::midi || input.data[7] == 0) return false;
    switch (input.data[0]) {
    case 0xF2:
        return goes_to((std::int64_t{input.data[2]} << 7 | input.data[1]) * clocks_a_sixteenth);
    case 0xF8:
        if (runs_) ++clocks_;
        return false;
    case 0xFA:
        runs_ = true;
        return goes_to(0);
    case 0xFB:
        runs_ = true;
        return false;
    case 0xFC:
        runs_ = false;
        return false;
    default:
        return false;
    }
}

bool SongPlace::goes_to(std::int64_t clocks)
{
    const bool back = clocks < clocks_;
    clocks_ = clocks;
    return back;
}

} // namespace bowarm
