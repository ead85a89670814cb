#include "studio/controller_names.hpp"

#include <charconv>

namespace bowarm
{
namespace
{

std::optional<int> number_of(std::string_view text)
{
    int number = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
    if (error != std::errc{} || end != text.data() + text.size() || number < 0 || is_reserved_controller(number)) return std::nullopt;
    return number;
}

} // namespace

bool is_reserved_controller(int number)
{
    return number == 0 || number == 32 || number == 6 || number == 38 || (number >= 96 && number <= 101) || number >= 120;
}

std::optional<PersonControl> person_control_of(std::string_view text)
{
    if (text == "none") return PersonControl{};
    if (text == "channel pressure") return PersonControl{PersonController::channel_pressure, {}};
    if (!text.starts_with("cc ")) return std::nullopt;
    const auto number = number_of(text.substr(3));
    if (!number) return std::nullopt;
    return PersonControl{PersonController::control_change, Midi7::nearest(*number)};
}

std::optional<Controller> controller_of(std::string_view text, Channel channel)
{
    if (text == "channel pressure") return Controller{channel, ControllerKind::channel_pressure, {}};
    if (text == "pitch bend") return Controller{channel, ControllerKind::pitch_bend, {}};
    if (!text.starts_with("cc ")) return std::nullopt;
    const bool fine = text.ends_with(" fine");
    text.remove_prefix(3);
    if (fine) text.remove_suffix(5);
    const auto number = number_of(text);
    if (!number || (fine && *number > 31)) return std::nullopt;
    return Controller{channel, fine ? ControllerKind::control_change_14 : ControllerKind::control_change, Midi7::nearest(*number)};
}

} // namespace bowarm
