// Which keys and sustain pedals of a take that is heard again are down, so that they can be let go.
//   thread   the engine's.  Real-time safe: all but the constructor.  Errors: none.
#pragma once

#include "hear/input.hpp"

#include <bitset>
#include <cstddef>
#include <optional>
#include <vector>

namespace bowarm
{

class TakeKeys
{
public:
    explicit TakeKeys(std::size_t players) : players_(players) {}

    void saw(std::size_t player, const Input& input) noexcept
    {
        if (input.kind != InputKind::midi) return;
        const Message message = as_message(input);
        if (message.size == 0 || message.kind() == MessageKind::system) return;
        Down& down = players_[player];
        const std::size_t key = message.channel().get() * 128U + message.first().get();
        if (message.is_note_on()) down.keys.set(key);
        if (message.is_note_off()) down.keys.reset(key);
        if (message.kind() == MessageKind::control_change && message.first().get() == sustain)
            down.sustained = message.second().get() > 0 ? std::optional{message.channel()} : std::nullopt;
    }

    // Gives what ends them.
    template <class Give> void let_go(std::size_t player, Give give) noexcept
    {
        Down& down = players_[player];
        for (std::size_t key = 0; down.keys.any() && key < down.keys.size(); ++key) {
            if (!down.keys.test(key)) continue;
            give(note_off(Channel::of_status(static_cast<std::uint8_t>(key / 128)), Midi7::nearest(key % 128)));
            down.keys.reset(key);
        }
        if (down.sustained) give(control_change(*down.sustained, Midi7::nearest(sustain), Midi7::nearest(0)));
        down.sustained.reset();
    }

private:
    static constexpr int sustain = 64; // MIDI 1.0
    struct Down {
        std::bitset<16 * 128> keys;
        std::optional<Channel> sustained;
    };
    std::vector<Down> players_;
};

// A key by hand does, and a command that says so.
inline bool stops_a_hearing(const Input& input)
{
    if (input.source == source_again) return false;
    if (input.kind == InputKind::midi) return as_message(input).is_note_on();
    if (input.kind != InputKind::command) return false;
    const auto command = static_cast<Command>(input.data[0]);
    return command == Command::panic || command == Command::take_begin || command == Command::take_end;
}

} // namespace bowarm
