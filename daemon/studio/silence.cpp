#include "studio/silence.hpp"

#include <algorithm>
#include <optional>

namespace bowarm
{
namespace
{

// Sustain, sostenuto, soft, hold 2.
constexpr std::array<std::uint8_t, 4> pedals{64, 66, 67, 69};
constexpr std::uint8_t all_notes_off = 123;
constexpr std::uint16_t bend_centre = 8192;

bool is_pedal(const Message& message)
{
    return message.kind() == MessageKind::control_change && std::find(pedals.begin(), pedals.end(), message.first().get()) != pedals.end();
}

// What undoes that message; empty: it begins nothing that would go on.
std::optional<Message> end_of(const Message& message)
{
    const Channel channel = message.channel();
    if (message.is_note_on()) return note_off(channel, message.first());
    if (is_pedal(message)) return control_change(channel, message.first(), Midi7{});
    if (message.kind() == MessageKind::pitch_bend) return pitch_bend(channel, Midi14::nearest(bend_centre));
    return std::nullopt;
}

constexpr std::uint16_t bit(std::uint8_t channel) { return static_cast<std::uint16_t>(1U << channel); }

void set(std::uint16_t& bits, std::uint8_t channel, bool on)
{
    bits = static_cast<std::uint16_t>(on ? bits | bit(channel) : bits & ~bit(channel));
}

} // namespace

void Sounding::sent(const Message& message) noexcept
{
    if (message.size == 0 || message.kind() == MessageKind::system) return;
    const std::uint8_t channel = message.channel().get();
    set(used_channels_, channel, true);
    std::uint8_t& held = held_[channel][message.first().get()];
    if (message.is_note_on() && held < 255) {
        ++held;
        ++notes_;
    } else if (message.is_note_off() && held > 0) {
        --held;
        --notes_;
    } else if (message.kind() == MessageKind::control_change) {
        for (std::size_t i = 0; i < pedals.size(); ++i)
            if (pedals[i] == message.first().get()) set(pedals_down_[i], channel, message.second().get() != 0);
    } else if (message.kind() == MessageKind::pitch_bend) {
        set(bent_channels_, channel, (message.second().get() << 7 | message.first().get()) != bend_centre);
    }
}

void Sounding::may_come(const Message& message)
{
    if (message.size == 0 || message.kind() == MessageKind::system) return;
    set(used_channels_, message.channel().get(), true);
    may_come_.push_back(message);
}

bool Sounding::is_wanted(const Message& message) const noexcept
{
    if (!message.is_note_off() || held_[message.channel().get()][message.first().get()] > 0) return true;
    return std::any_of(may_come_.begin(), may_come_.end(), [&](const Message& late) {
        return late.is_note_on() && late.channel() == message.channel() && late.first() == message.first();
    });
}

std::vector<Message> Sounding::sequence() const
{
    std::vector<Message> messages;
    for (std::uint8_t number = 0; number < 16; ++number) {
        if ((used_channels_ & bit(number)) == 0) continue;
        const Channel channel = Channel::of_status(number);
        for (std::uint8_t key = 0; key < 128; ++key)
            for (int i = 0; i < held_[number][key]; ++i) messages.push_back(note_off(channel, Midi7::nearest(key)));
        for (std::size_t i = 0; i < pedals.size(); ++i)
            if ((pedals_down_[i] & bit(number)) != 0) messages.push_back(control_change(channel, Midi7::nearest(pedals[i]), Midi7{}));
        if ((bent_channels_ & bit(number)) != 0) messages.push_back(pitch_bend(channel, Midi14::nearest(bend_centre)));
        for (const Message& late : may_come_)
            if (const auto end = end_of(late); end && late.channel() == channel) messages.push_back(*end);
        messages.push_back(control_change(channel, Midi7::nearest(all_notes_off), Midi7{}));
    }
    return messages;
}

} // namespace bowarm
