// How much may be handed to RtMidi's JACK output before JACK is known to have taken it.
//   RtMidi's ring holds 16 KiB and its sendMessage spins without a limit of time while the ring is full (RtMidi 5.0.0,
//   RtMidi.cpp); the ring is emptied in JACK's cycle.  So no more than half of it is handed over until two more cycles
//   have been counted by a client of our own: then a dead server can never catch a sender inside a call.
//   thread   the sender's.  Real-time safe: yes.  Errors: none.
#pragma once

#include <cstddef>
#include <cstdint>

namespace bowarm
{

class Credit
{
public:
    static constexpr std::size_t limit = 8 * 1024;
    static constexpr std::uint64_t cycles_to_empty = 2;
    // What a message takes up in RtMidi's ring: its length comes before it.
    static constexpr std::size_t cost(std::size_t message_bytes) { return message_bytes + 4; }

    bool allows(std::size_t bytes, std::uint64_t cycle) noexcept
    {
        if (cycle >= last_cycle_ + cycles_to_empty) handed_over_ = 0;
        return handed_over_ + bytes <= limit;
    }
    void spend(std::size_t bytes, std::uint64_t cycle) noexcept
    {
        handed_over_ += bytes;
        last_cycle_ = cycle;
    }

private:
    std::size_t handed_over_{0};
    std::uint64_t last_cycle_{0};
};

} // namespace bowarm
