#include "studio/hear_again.hpp"

#include <algorithm>
#include <map>
#include <tuple>

namespace bowarm
{
namespace
{

constexpr Duration before_it_begins = milliseconds(300); // longer than the writer sleeps
constexpr Duration between_arm_and_keys = milliseconds(50);
constexpr Duration between_passes = milliseconds(1500); // for the last notes to ring out
constexpr Duration ahead = milliseconds(1000);

bool is_for_arm_or_takes(const Action& action)
{
    switch (action.kind) {
    case ActionKind::bypass:
    case ActionKind::panic:
    case ActionKind::take:
    case ActionKind::keep_take:
    case ActionKind::hear_take:
        return true;
    default:
        return false;
    }
}

bool is_left_out(const Message& message, const Controls& controls)
{
    if (message.size == 0) return true;
    if (message.kind() == MessageKind::note_on || message.kind() == MessageKind::note_off)
        return is_for_arm_or_takes(controls.keys[message.first().get()]);
    if (message.kind() == MessageKind::program_change) return is_for_arm_or_takes(controls.programs[message.first().get()]);
    if (message.kind() != MessageKind::control_change) return false;
    return std::any_of(controls.controllers.begin(), controls.controllers.end(),
                       [&](const ControllerAction& c) { return c.number == message.first() && is_for_arm_or_takes(c.action); });
}

bool is_left_out(const Input& input, const Controls& controls)
{
    switch (input.kind) {
    case InputKind::midi:
        return is_left_out(as_message(input), controls);
    case InputKind::tempo:
    case InputKind::meter:
        return false;
    case InputKind::command:
        switch (static_cast<Command>(input.data[0])) {
        case Command::panic:
        case Command::bypass_on:
        case Command::bypass_off:
        case Command::target_unknown:
        case Command::take_begin:
        case Command::take_end:
        case Command::keep_take:
        case Command::hear_take:
        case Command::choose_player:
        case Command::bow_at: // its data have no room for more
            return true;
        default:
            return false;
        }
    default:
        return true;
    }
}

struct Heard {
    Duration after;
    Input input;
    std::uint8_t player;
};

// Controllers as they stood when the take began, then all that was played.
std::vector<Heard> everything_in(const Journal& journal, const TakeSpan& span, const Controls& controls)
{
    std::map<std::tuple<std::size_t, std::uint8_t, std::uint8_t>, Input> stood;
    std::vector<Heard> played;
    for (const JournalInput& input : journal.inputs) {
        if (input.at > span.last) break;
        if (input.source == source_again || is_left_out(input, controls)) continue;
        const MessageKind kind = input.kind == InputKind::midi ? as_message(input).kind() : MessageKind::system;
        const bool is_value =
            kind == MessageKind::control_change || kind == MessageKind::channel_pressure || kind == MessageKind::pitch_bend;
        for (std::size_t player = 0; player < players_at_most; ++player) {
            if ((input.players & only(player)) == 0) continue;
            if (input.at >= span.first)
                played.push_back({between_arm_and_keys + (input.at - span.first), input, static_cast<std::uint8_t>(player)});
            else if (is_value)
                stood[{player, input.data[0], kind == MessageKind::control_change ? input.data[1] : std::uint8_t{0}}] = input;
        }
    }
    std::vector<Heard> all;
    for (const auto& [what, input] : stood) all.push_back({Duration{0}, input, static_cast<std::uint8_t>(std::get<0>(what))});
    all.insert(all.end(), played.begin(), played.end());
    return all;
}

PlayerSet players_in(const std::vector<Heard>& heard)
{
    PlayerSet players = 0;
    for (const Heard& one : heard) players |= only(one.player);
    return players;
}

} // namespace

void HearAgain::begin(const Journal& journal, const TakeSpan& span, const Controls& controls)
{
    script_.clear();
    next_ = 0;
    last_number_ = static_cast<std::uint8_t>(last_number_ % 255 + 1);
    number_ = last_number_;
    const std::vector<Heard> heard = everything_in(journal, span, controls);
    const PlayerSet players = players_in(heard);
    const auto add = [&](Time at, Input input, std::size_t player) {
        input.at = at;
        input.source = source_again;
        input.data[3] = static_cast<std::uint8_t>(player);
        input.data[4] = number_;
        script_.push_back(input);
    };
    const auto add_for_all = [&](Time at, const Input& input) {
        for (std::size_t player = 0; player < players_at_most; ++player)
            if ((players & only(player)) != 0) add(at, input, player);
    };
    Time begins = lines_.clock.now() + before_it_begins;
    for (const Command arm : {Command::bypass_on, Command::bypass_off}) {
        add_for_all(begins, command_input(begins, arm));
        for (const Heard& one : heard) add(begins + one.after, one.input, one.player);
        const Time ends = begins + between_arm_and_keys + (span.last - span.first) + Duration{1};
        add_for_all(ends, {ends, source_again, InputKind::port_lost, {}});
        begins = ends + between_passes;
    }
    add(begins, {begins, source_again, InputKind::gap, {}}, 0);
    lines_.hearing.store(number_, std::memory_order_release);
}

void HearAgain::feed()
{
    if (!running()) return;
    if (lines_.hearing.load(std::memory_order_acquire) != number_) return stop();
    const Time until = lines_.clock.now() + ahead;
    bool fed = false;
    for (; next_ < script_.size() && script_[next_].at <= until && lines_.from_take.has_room(); ++next_)
        fed = lines_.from_take.push(script_[next_]) || fed;
    if (fed) lines_.engine_wake.ring();
}

void HearAgain::stop() noexcept
{
    std::uint8_t heard = number_;
    lines_.hearing.compare_exchange_strong(heard, 0);
    number_ = 0;
    script_ = {};
}

} // namespace bowarm
