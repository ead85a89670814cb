// What selects a sound at the target, and what the target has selected on each of its channels.
//   Nothing is sent that a channel has already.  Which of a sampler's keyswitches undo each other is not known, so a switch's
//   latching keys are sent together, whenever another switch of the same row came between; a program change is taken to forget
//   the channel's keyswitches.
//   thread   the player's.  Real-time safe: yes.
//   Errors   none; the loader has refused what is ambiguous.
#pragma once

#include "target/bundle.hpp"
#include "target/target_spec.hpp"

#include <array>
#include <bitset>
#include <cstdint>
#include <optional>

namespace bowarm
{

class Selection
{
public:
    // Rows are independent of each other: the technique, the mute, where the bow runs.
    static constexpr std::size_t rows = 3;
    using Wanted = std::array<const Switch*, rows>; // nullptr: that row is left as it is

    Selection();
    // What the channel lacks of it: programs, then the rest in the order of the rows and of their lists.
    void add(Bundle& bundle, Channel channel, const Wanted& wanted) noexcept;
    // Whether the first row of the channel stands at that switch.
    bool stands_at(Channel channel, const Switch& technique) const noexcept;
    // Lets go of what is held.
    void release(Bundle& bundle, Channel channel) noexcept;
    // The target is in an unknown state; keys that are held stay known, for they have to be let go of.
    void forget() noexcept;

private:
    struct OnChannel {
        std::array<std::optional<Switch>, rows> latched;
        std::optional<SwitchStep> program;
        FixedVector<Midi7, Switch::limit + 2 * state_steps_limit> held;
        bool held_in_doubt{false}; // pressed, but somebody else may have let go
        std::array<std::int8_t, 128> controllers{};
    };
    void add_program(Bundle& bundle, Channel channel, const Switch& technique) noexcept;
    void release_unwanted(Bundle& bundle, Channel channel, const Wanted& wanted) noexcept;
    void add_row(Bundle& bundle, Channel channel, std::size_t row, const Switch& wanted) noexcept;
    OnChannel& on(Channel channel) noexcept { return channels_[channel.get()]; }

    std::array<OnChannel, 16> channels_;
};

// Whether the message selects a sound of that target: what may be sent earlier than the note, and what nobody else may send.
bool selects(const TargetSpec& spec, const Message& message) noexcept;

// The same as tables, whatever the channel: quick to ask.
class SwitchMessages
{
public:
    explicit SwitchMessages(const TargetSpec& spec);
    bool key(Midi7 number) const noexcept { return keys_.test(number.get()); }
    bool controller(Midi7 number) const noexcept { return controllers_.test(number.get()); }
    bool has(const Message& message) const noexcept;

private:
    std::bitset<128> keys_, controllers_;
};

} // namespace bowarm
