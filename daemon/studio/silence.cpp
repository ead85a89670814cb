#include "studio/silence.hpp"

namespace bowarm
{
namespace
{

// Sustain, sostenuto, soft, hold 2.
constexpr std::array<std::uint8_t, 4> pedals{64, 66, 67, 69};
constexpr std::uint8_t all_notes_off = 123;
constexpr std::uint16_t bend_centre = 8192;

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

bool Sounding::is_wanted(const Message& message) const noexcept
{
    return !message.is_note_off() || held_[message.channel().get()][message.first().get()] > 0;
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
        messages.push_back(control_change(channel, Midi7::nearest(all_notes_off), Midi7{}));
    }
    return messages;
}

} // namespace bowarm
