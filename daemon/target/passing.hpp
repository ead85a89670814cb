// The person's own controllers on their way to the target: filtered, renumbered, kept off what the arm itself sends.
//   With a channel for each technique they go where the notes sound, and come along when the notes go elsewhere; a pedal is let
//   up wherever it was pressed.
//   thread   the player's.  Real-time safe: yes.
//   Errors   of more than eight different controllers only the first eight come along to another channel.
#pragma once

#include "target/bundle.hpp"
#include "target/target_spec.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

class Passing
{
public:
    // Nothing when the message is dropped; goes to `channel` and to where it has to be undone.
    void pass(Bundle& bundle, const TargetSpec& spec, Channel channel, const Message& message) noexcept;
    // What that channel has not heard yet.
    void bring_along(Bundle& bundle, Channel channel) noexcept;
    // Pedals up and the pitch unbent, where a passed message has left them otherwise.
    void let_up(Bundle& bundle, Channel channel) noexcept;
    // The target is in an unknown state: all that is remembered comes along again.
    void forget() noexcept;

private:
    using Channels = std::uint16_t; // a bit each
    struct Remembered {
        Message message; // its newest; the channel is not used
        Channels has{0}; // that have heard it
    };
    void remember(Channel channel, const Message& message) noexcept;

    FixedVector<Remembered, 8> remembered_;
    std::array<Channels, 4> pedals_down_{}; // sustain, sostenuto, soft, hold 2
    Channels bent_{0};
};

} // namespace bowarm
