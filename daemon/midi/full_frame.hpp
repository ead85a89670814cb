// MIDI time code's full frame, as the eight quarter frames that would say the same.
//   in       the bytes of one port
//   out      F0 7F dev 01 01 hh mm ss ff F7 becomes F1 0n .. F1 7n
//   source   MIDI Time Code, MMA RP-004: full frame and quarter frame messages
//   thread   the port's callback thread.  Real-time safe: yes.  Errors: none; every other exclusive message is passed over.
#pragma once

#include "midi/message.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

namespace bowarm
{

class FullFrame
{
public:
    using Pieces = std::array<Message, 8>;

    std::optional<Pieces> take(std::uint8_t byte) noexcept
    {
        if (byte >= 0xF8) return std::nullopt; // real time may stand anywhere
        if (byte == 0xF7 && count_ == bytes_.size() && is_time_code()) {
            count_ = none;
            return pieces();
        }
        if (byte >= 0x80) {
            count_ = byte == 0xF0 ? 0 : none;
        } else if (count_ < bytes_.size()) {
            bytes_[count_++] = byte;
        } else {
            count_ = none;
        }
        return std::nullopt;
    }

private:
    static constexpr std::size_t none = 99;

    bool is_time_code() const noexcept { return bytes_[0] == 0x7F && bytes_[2] == 0x01 && bytes_[3] == 0x01; }
    Pieces pieces() const noexcept
    {
        // Frames, seconds, minutes, hours with the rate: low half, then high half.
        Pieces pieces;
        for (std::size_t i = 0; i < pieces.size(); ++i) {
            const std::uint8_t value = bytes_[7 - i / 2];
            const unsigned half = i % 2 == 0 ? value & 0x0FU : value >> 4U;
            pieces[i] = {{0xF1, static_cast<std::uint8_t>(i << 4U | half), 0}, 2};
        }
        return pieces;
    }

    std::array<std::uint8_t, 8> bytes_{}; // between F0 and F7
    std::size_t count_{none};
};

} // namespace bowarm
