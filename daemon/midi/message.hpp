// One MIDI 1.0 message of up to three bytes, always whole and with its status byte.
//   Values and channels are checked once, here; channels are 0..15 in code and 1..16 in text.
//   source   MIDI 1.0 Detailed Specification 4.2.1 (status bytes, data bytes, pitch bend with the low half first).
//   thread   any, pure.  Real-time safe: yes.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <optional>
#include <span>

namespace bowarm
{

// 0..127, so no receiver has to check again.
class Midi7
{
public:
    constexpr Midi7() = default;
    static constexpr std::optional<Midi7> from(int n)
    {
        if (n < 0 || n > 127) return std::nullopt;
        return Midi7{static_cast<std::uint8_t>(n)};
    }
    // The nearest allowed value.
    static constexpr Midi7 nearest(std::int64_t n) { return Midi7{static_cast<std::uint8_t>(n < 0 ? 0 : (n > 127 ? 127 : n))}; }
    constexpr std::uint8_t get() const { return byte_; }
    constexpr auto operator<=>(const Midi7&) const = default;

private:
    explicit constexpr Midi7(std::uint8_t byte) : byte_(byte) {}
    std::uint8_t byte_{0};
};

// 0..16383.
class Midi14
{
public:
    constexpr Midi14() = default;
    static constexpr std::optional<Midi14> from(int n)
    {
        if (n < 0 || n > 16383) return std::nullopt;
        return Midi14{static_cast<std::uint16_t>(n)};
    }
    static constexpr Midi14 nearest(std::int64_t n) { return Midi14{static_cast<std::uint16_t>(n < 0 ? 0 : (n > 16383 ? 16383 : n))}; }
    constexpr std::uint16_t get() const { return value_; }
    constexpr Midi7 high() const { return Midi7::nearest(value_ >> 7); }
    constexpr Midi7 low() const { return Midi7::nearest(value_ & 0x7F); }
    constexpr auto operator<=>(const Midi14&) const = default;

private:
    explicit constexpr Midi14(std::uint16_t value) : value_(value) {}
    std::uint16_t value_{0};
};

// 0..15.
class Channel
{
public:
    constexpr Channel() = default;
    static constexpr std::optional<Channel> from(int n)
    {
        if (n < 0 || n > 15) return std::nullopt;
        return Channel{static_cast<std::uint8_t>(n)};
    }
    static constexpr Channel of_status(std::uint8_t status) { return Channel{static_cast<std::uint8_t>(status & 0x0F)}; }
    constexpr std::uint8_t get() const { return number_; }
    constexpr auto operator<=>(const Channel&) const = default;

private:
    explicit constexpr Channel(std::uint8_t number) : number_(number) {}
    std::uint8_t number_{0};
};

enum class MessageKind : std::uint8_t {
    note_off = 0x80,
    note_on = 0x90,
    key_pressure = 0xA0,
    control_change = 0xB0,
    program_change = 0xC0,
    channel_pressure = 0xD0,
    pitch_bend = 0xE0,
    system = 0xF0,
};

struct Message {
    std::array<std::uint8_t, 3> bytes{};
    std::uint8_t size{0};

    constexpr bool operator==(const Message&) const = default;
    constexpr MessageKind kind() const { return static_cast<MessageKind>(bytes[0] & 0xF0); }
    constexpr Channel channel() const { return Channel::of_status(bytes[0]); }
    constexpr Midi7 first() const { return Midi7::nearest(bytes[1] & 0x7F); }
    constexpr Midi7 second() const { return Midi7::nearest(bytes[2] & 0x7F); }
    // A note-on with velocity 0 is a note-off.
    constexpr bool is_note_on() const { return kind() == MessageKind::note_on && bytes[2] != 0; }
    constexpr bool is_note_off() const { return kind() == MessageKind::note_off || (kind() == MessageKind::note_on && bytes[2] == 0); }
    constexpr std::span<const std::uint8_t> data() const { return {bytes.data(), size}; }
};

constexpr Message channel_message(MessageKind kind, Channel channel, Midi7 first, Midi7 second)
{
    return {{static_cast<std::uint8_t>(static_cast<std::uint8_t>(kind) | channel.get()), first.get(), second.get()}, 3};
}
constexpr Message note_on(Channel c, Midi7 key, Midi7 velocity) { return channel_message(MessageKind::note_on, c, key, velocity); }
constexpr Message note_off(Channel c, Midi7 key, Midi7 velocity = Midi7::nearest(64))
{
    return channel_message(MessageKind::note_off, c, key, velocity);
}
constexpr Message control_change(Channel c, Midi7 number, Midi7 value)
{
    return channel_message(MessageKind::control_change, c, number, value);
}
constexpr Message program_change(Channel c, Midi7 program) { return {{static_cast<std::uint8_t>(0xC0 | c.get()), program.get(), 0}, 2}; }
constexpr Message channel_pressure(Channel c, Midi7 value) { return {{static_cast<std::uint8_t>(0xD0 | c.get()), value.get(), 0}, 2}; }
constexpr Message pitch_bend(Channel c, Midi14 value) { return channel_message(MessageKind::pitch_bend, c, value.low(), value.high()); }

// A continuous destination on the wire.
enum class ControllerKind : std::uint8_t { control_change, control_change_14, channel_pressure, pitch_bend };
struct Controller {
    Channel channel;
    ControllerKind kind{ControllerKind::control_change};
    Midi7 number; // of the high half where the kind is control_change_14; unused for pressure and bend

    constexpr auto operator<=>(const Controller&) const = default;
    constexpr int highest() const { return kind == ControllerKind::control_change_14 || kind == ControllerKind::pitch_bend ? 16383 : 127; }
};

} // namespace bowarm
