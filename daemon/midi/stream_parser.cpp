#include "midi/stream_parser.hpp"

namespace bowarm
{

namespace
{

constexpr std::uint8_t status_bit = 0x80;
constexpr std::uint8_t first_system = 0xF0;
constexpr std::uint8_t exclusive = 0xF0;
constexpr std::uint8_t end_of_exclusive = 0xF7;
constexpr std::uint8_t first_real_time = 0xF8;

} // namespace

std::uint8_t message_size(std::uint8_t status) noexcept
{
    if (status < status_bit) return 0;
    if (status < first_system) return (status & 0xF0) == 0xC0 || (status & 0xF0) == 0xD0 ? 2 : 3;
    switch (status) {
    case 0xF1:
    case 0xF3:
        return 2;
    case 0xF2:
        return 3;
    case 0xF6:
    case 0xF8:
    case 0xFA:
    case 0xFB:
    case 0xFC:
    case 0xFE:
    case 0xFF:
        return 1;
    default:
        return 0;
    }
}

std::optional<Message> StreamParser::take(std::uint8_t byte) noexcept
{
    if (byte >= first_real_time) return take_real_time(byte);
    if (byte >= status_bit) return take_status(byte);
    return take_data(byte);
}

void StreamParser::reset() noexcept
{
    message_ = {};
    wanted_ = 0;
    in_exclusive_ = false;
}

// Real time may stand between any two bytes and changes nothing around it.
std::optional<Message> StreamParser::take_real_time(std::uint8_t status) noexcept
{
    if (message_size(status) == 0) {
        ++dropped_.undefined_statuses;
        return std::nullopt;
    }
    return Message{{status, 0, 0}, 1};
}

std::optional<Message> StreamParser::take_status(std::uint8_t status) noexcept
{
    abandon_message();
    in_exclusive_ = status == exclusive;
    wanted_ = message_size(status);
    message_ = {{status, 0, 0}, 1};
    if (status == exclusive) ++dropped_.exclusive_messages;
    if (wanted_ == 0 && status != exclusive && status != end_of_exclusive) ++dropped_.undefined_statuses;
    if (wanted_ != 1) return std::nullopt;
    wanted_ = 0; // tune request: whole at once, and like all system common it leaves no running status
    return message_;
}

std::optional<Message> StreamParser::take_data(std::uint8_t data) noexcept
{
    if (in_exclusive_) return std::nullopt;
    if (wanted_ == 0) {
        ++dropped_.stray_bytes;
        return std::nullopt;
    }
    message_.bytes[message_.size++] = data;
    if (message_.size < wanted_) return std::nullopt;
    const Message whole = message_;
    message_ = {{whole.bytes[0], 0, 0}, 1}; // running status: the next data byte begins another
    if (whole.bytes[0] >= first_system) wanted_ = 0;
    return whole;
}

// With running status a lone status byte is no loss: nothing of a message has come after a whole one.
void StreamParser::abandon_message() noexcept
{
    if (wanted_ != 0 && message_.size > 1) ++dropped_.cut_messages;
}

} // namespace bowarm
