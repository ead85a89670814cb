// Which keys are down at the target, by what has left for it; and what becomes of messages that wait when silence is asked for.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "target/target.hpp"

#include <bitset>
#include <cstddef>
#include <span>

namespace bowarm
{

class KeysDown
{
public:
    // Of a note-off whose key is not down nothing is heard: it is left out.  The rest is as good as gone.
    bool leaves(const Message& m) noexcept
    {
        const std::size_t key = place(m);
        if (m.is_note_on()) down_.set(key);
        if (!m.is_note_off()) return true;
        const bool was_down = down_.test(key);
        down_.reset(key);
        return was_down;
    }
    static constexpr std::size_t count = std::size_t{16} * 128;
    // A note-off for each from that place on, as long as there is room; the place to go on from.
    std::size_t add_ends(Bundle& bundle, std::size_t from) const noexcept
    {
        std::size_t key = from;
        for (; key < count && !bundle.full(); ++key)
            if (down_.test(key))
                bundle.push_back(
                    note_off(Channel::of_status(static_cast<std::uint8_t>(key >> 7)), Midi7::nearest(static_cast<int>(key & 127))));
        return key;
    }
    static std::size_t place(const Message& m) noexcept { return static_cast<std::size_t>(m.channel().get()) << 7 | m.first().get(); }

private:
    std::bitset<count> down_;
};

// MIDI 1.0 Detailed Specification 4.2.1, channel mode messages: all sound off, all notes off.
inline bool silences(std::span<const Message> messages) noexcept
{
    for (const Message& m : messages)
        if (m.kind() == MessageKind::control_change && (m.first().get() == 120 || m.first().get() == 123)) return true;
    return false;
}

// What still counts of a bundle that waited when silence was asked for.
inline void keep_ends(Bundle& bundle) noexcept
{
    Bundle ends;
    for (const Message& m : bundle)
        if (m.is_note_off()) ends.push_back(m);
    bundle = ends;
}

inline int bytes_of(std::span<const Message> messages) noexcept
{
    int bytes = 0;
    for (const Message& m : messages) bytes += m.size;
    return bytes;
}

} // namespace bowarm
