// The byte stream of one port, cut into whole messages.
//   in       bytes as they came, cut anywhere; one parser a port, because running status is the port's
//   out      channel messages of 2 or 3 bytes and system messages F1, F2, F3, F6, F8, FA..FC, FE, FF of 1 to 3 bytes,
//            each with its status byte; system exclusive is skipped, what cannot be read is dropped and counted
//   source   MIDI 1.0 Detailed Specification 4.2.1: running status, system common, system real time, EOX
//   thread   the port's callback thread.  Real-time safe: yes, fixed state.  Errors: none, only counts.
#pragma once

#include "midi/message.hpp"

#include <cstdint>
#include <optional>
#include <span>

namespace bowarm
{

class StreamParser
{
public:
    struct Dropped {
        std::uint64_t stray_bytes{0};        // data without a status
        std::uint64_t cut_messages{0};       // a new status came before the message was whole
        std::uint64_t undefined_statuses{0}; // F4, F5, F9, FD
        std::uint64_t exclusive_messages{0}; // system exclusive, skipped on purpose
        bool operator==(const Dropped&) const = default;
    };

    // Calls on_message(const Message&) for every message that the bytes complete, in order.
    template <class OnMessage> void feed(std::span<const std::uint8_t> bytes, OnMessage&& on_message) noexcept
    {
        for (const std::uint8_t byte : bytes)
            if (const std::optional<Message> whole = take(byte)) on_message(*whole);
    }

    // One byte completes at most one message.
    std::optional<Message> take(std::uint8_t byte) noexcept;

    // Forgets running status and whatever is half received: for a port that was opened anew.
    void reset() noexcept;

    const Dropped& dropped() const noexcept { return dropped_; }

private:
    std::optional<Message> take_real_time(std::uint8_t status) noexcept;
    std::optional<Message> take_status(std::uint8_t status) noexcept;
    std::optional<Message> take_data(std::uint8_t data) noexcept;
    void abandon_message() noexcept;

    Message message_{};      // being gathered; size is what has come so far
    std::uint8_t wanted_{0}; // whole size of message_; 0: no status is in force
    bool in_exclusive_{false};
    Dropped dropped_{};
};

// Bytes of a message with this status byte, itself included; 0 for data bytes, F0, F7 and undefined statuses.
std::uint8_t message_size(std::uint8_t status) noexcept;

} // namespace bowarm
