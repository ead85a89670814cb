// A running hash of everything a player sends, from its first message on: two runs with the same count and hash sent the same.
//   in       bundles and curve values in the order in which the player gives them
//   out      the number of messages and values so far, and a hash of them with their times
//   source   the odd constants are those of SplitMix64 (G. Steele, D. Lea, C. Flood, OOPSLA 2014); it is no protection against forgery
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/time.hpp"
#include "midi/message.hpp"

#include <cstdint>
#include <span>

namespace bowarm
{

// Where a run stood at one moment.
struct OutputCheck {
    Time at; // of the newest message
    std::uint64_t count{0};
    std::uint64_t hash{0};
    constexpr bool operator==(const OutputCheck&) const = default;
};

class OutputHash
{
public:
    constexpr void bundle(Time at, std::span<const Message> messages) noexcept
    {
        for (const Message& m : messages)
            add(at, std::uint64_t{m.size} << 24 | std::uint64_t{m.bytes[0]} << 16 | std::uint64_t{m.bytes[1]} << 8 | m.bytes[2]);
    }
    constexpr void curve(Time at, Controller controller, int value) noexcept
    {
        const std::uint64_t which = std::uint64_t{controller.channel.get()} << 16 |
                                    std::uint64_t{static_cast<std::uint8_t>(controller.kind)} << 8 | controller.number.get();
        add(at, std::uint64_t{1} << 56 | which << 32 | static_cast<std::uint32_t>(value));
    }
    constexpr const OutputCheck& now() const noexcept { return now_; }

private:
    // One multiplication in the chain from value to value; the others do not wait for it.
    constexpr void add(Time at, std::uint64_t what) noexcept
    {
        now_.at = at;
        ++now_.count;
        const std::uint64_t mixed = now_.hash ^ (static_cast<std::uint64_t>(at.ns) * 0x9E3779B97F4A7C15U + what * 0xBF58476D1CE4E5B9U);
        now_.hash = (mixed ^ (mixed >> 32)) * 0x94D049BB133111EBU;
    }

    OutputCheck now_;
};

} // namespace bowarm
