// A stream that has been through the arm already says so, and is to be passed on as it is.
//   The mark is control change 119, which MIDI 1.0 leaves undefined, with the value 87; the value 0 takes it back.  A sequencer
//   that locates sends the last value of a controller again, so the mark holds wherever the playing begins.
//   in       every message of every input
//   out      whether the message is of such a stream, by input and channel
//   source   MIDI 1.0 Detailed Specification 4.2.1, controller numbers: 102 to 119 are undefined.  The value is ours.
//   thread   the engine's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "hear/hands.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

inline constexpr int bowed_mark_controller = 119;
inline constexpr int bowed_mark_value = 87;
constexpr Message bowed_mark(Channel channel)
{
    return control_change(channel, Midi7::nearest(bowed_mark_controller), Midi7::nearest(bowed_mark_value));
}

class BowedBefore
{
public:
    // True: the message goes on as it is.  A note that began unmarked ends unmarked.
    bool hear(std::size_t source, const Message& message) noexcept
    {
        if (source >= inputs_at_most || message.kind() == MessageKind::system) return false;
        bool& marked = marked_[source][message.channel().get()];
        if (message.kind() == MessageKind::control_change && message.first().get() == bowed_mark_controller)
            marked = message.second().get() == bowed_mark_value;
        std::uint8_t& passed = passed_[source][message.channel().get()][message.first().get()];
        if (message.is_note_off()) {
            if (passed == 0) return false;
            --passed;
            return true;
        }
        if (message.is_note_on() && marked && passed < 255) ++passed;
        return marked;
    }
    // What comes next from this source is another stream.
    void forget_marks(std::size_t source) noexcept
    {
        if (source < inputs_at_most) marked_[source].fill(false);
    }
    // Calls end(Message) for every note that was passed on and not ended; the stream stays what it is, for after a panic or a gap
    // it goes on where it was, and who sent the mark does not know of them.
    template <class End> void release(std::size_t source, End&& end) noexcept
    {
        if (source >= inputs_at_most) return;
        for (std::uint8_t channel = 0; channel < 16; ++channel) {
            for (std::uint8_t key = 0; key < 128; ++key)
                for (std::uint8_t& passed = passed_[source][channel][key]; passed > 0; --passed)
                    end(note_off(Channel::of_status(channel), Midi7::nearest(key)));
        }
    }

private:
    std::array<std::array<bool, 16>, inputs_at_most> marked_{};
    std::array<std::array<std::array<std::uint8_t, 128>, 16>, inputs_at_most> passed_{}; // note-ons without their note-off, by key
};

} // namespace bowarm
