// What sounds at one target because of us, and the messages that end it.
//   thread   the sender's.  Real-time safe: sent and is_wanted are; may_come and sequence allocate.  Errors: none.
//   source   MIDI 1.0 Detailed Specification 4.2.1, channel mode messages: every note-on must get its own note-off before an
//            all-notes-off (control change 123), and a receiver may ignore the latter.
#pragma once

#include "midi/message.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace bowarm
{

class Sounding
{
public:
    void sent(const Message& message) noexcept;
    // Nobody knows whether this message arrived, or will yet: what it may begin is ended whenever there is an occasion.
    void may_come(const Message& message);
    // False for a note-off that ends nothing: its note never reached the target.
    bool is_wanted(const Message& message) const noexcept;
    bool silent() const noexcept { return notes_ == 0; }
    bool untouched() const noexcept { return used_channels_ == 0; }

    // For each channel that was used: a note-off for each note held, pedals up and bend centred where they were moved, the
    // same for what may come, all notes off.  To be passed through sent() like everything else.
    std::vector<Message> sequence() const;

private:
    std::array<std::array<std::uint8_t, 128>, 16> held_{}; // note-ons without their note-off, by channel and key
    int notes_{0};
    std::uint16_t used_channels_{0}; // a bit a channel
    std::uint16_t bent_channels_{0};
    std::array<std::uint16_t, 4> pedals_down_{}; // a bit a channel, for each of the pedals
    std::vector<Message> may_come_;
};

} // namespace bowarm
