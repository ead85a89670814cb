#include "target/passing.hpp"

#include "target/selection.hpp"

#include <optional>

namespace bowarm
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1, controller numbers: sustain, sostenuto, soft, hold 2.
constexpr std::array<std::uint8_t, 4> pedals{64, 66, 67, 69};
constexpr Midi14 bend_centre = Midi14::nearest(8192);
constexpr Midi7 up = Midi7::nearest(0);

constexpr std::uint16_t bit(Channel c) { return static_cast<std::uint16_t>(1U << c.get()); }

void set(std::uint16_t& channels, Channel c, bool on)
{
    channels = static_cast<std::uint16_t>(on ? channels | bit(c) : channels & ~bit(c));
}

Message on(Channel channel, Message message)
{
    message.bytes[0] = static_cast<std::uint8_t>((message.bytes[0] & 0xF0) | channel.get());
    return message;
}

std::optional<std::size_t> pedal_of(const Message& m)
{
    if (m.kind() != MessageKind::control_change) return std::nullopt;
    for (std::size_t i = 0; i < pedals.size(); ++i)
        if (pedals[i] == m.first().get()) return i;
    return std::nullopt;
}

bool is_of(const Controller& c, const Message& m)
{
    switch (c.kind) {
    case ControllerKind::channel_pressure:
        return m.kind() == MessageKind::channel_pressure;
    case ControllerKind::pitch_bend:
        return m.kind() == MessageKind::pitch_bend;
    case ControllerKind::control_change:
        return m.kind() == MessageKind::control_change && m.first() == c.number;
    case ControllerKind::control_change_14:
        return m.kind() == MessageKind::control_change && (m.first() == c.number || m.first().get() == c.number.get() + 32);
    }
    return false;
}

// Seven bits of its value, whichever message carries it.
Midi7 value_of(const Message& m) { return m.kind() == MessageKind::channel_pressure ? m.first() : m.second(); }

Message as(const Controller& to, const Message& m)
{
    const Midi7 value = value_of(m);
    const Midi7 low = m.kind() == MessageKind::pitch_bend ? m.first() : Midi7{};
    if (to.kind == ControllerKind::channel_pressure) return channel_pressure({}, value);
    if (to.kind == ControllerKind::pitch_bend) return pitch_bend({}, Midi14::nearest(value.get() * 128 + low.get()));
    return control_change({}, to.number, value);
}

// The message under the file's rules; empty when it stops here.
std::optional<Message> ruled(const TargetSpec& spec, const Message& message)
{
    for (const PassRule& rule : spec.pass) {
        if (!is_of(rule.from, message)) continue;
        if (!rule.to) return std::nullopt;
        return as(*rule.to, message);
    }
    return message;
}

bool arm_speaks_there(const TargetSpec& spec, const Message& message)
{
    for (const CurveWay& way : spec.curves)
        if (is_of(way.controller, message)) return true;
    return selects(spec, message);
}

// What holds until it is changed and belongs to a channel.
bool lasts(const Message& m)
{
    return m.kind() == MessageKind::control_change || m.kind() == MessageKind::channel_pressure || m.kind() == MessageKind::pitch_bend;
}

} // namespace

void Passing::remember(Channel channel, const Message& m) noexcept
{
    for (Remembered& r : remembered_) {
        const bool numbered = m.kind() == MessageKind::control_change;
        if (r.message.kind() != m.kind() || (numbered && r.message.first() != m.first())) continue;
        r = {m, bit(channel)};
        return;
    }
    remembered_.push_back({m, bit(channel)});
}

void Passing::pass(Bundle& bundle, const TargetSpec& spec, Channel channel, const Message& message) noexcept
{
    const std::optional<Message> out = ruled(spec, message);
    if (!out || arm_speaks_there(spec, *out)) return;
    bundle.push_back(on(channel, *out));
    if (!lasts(*out)) return;
    remember(channel, *out);
    if (out->kind() == MessageKind::pitch_bend) {
        set(bent_, channel, Midi14::nearest(out->second().get() * 128 + out->first().get()) != bend_centre);
        return;
    }
    const auto pedal = pedal_of(*out);
    if (!pedal) return;
    set(pedals_down_[*pedal], channel, out->second() != up);
    for (int c = 0; c < 16; ++c) {
        const Channel other = *Channel::from(c);
        if (other == channel || (pedals_down_[*pedal] & bit(other)) == 0) continue;
        bundle.push_back(on(other, *out));
        set(pedals_down_[*pedal], other, out->second() != up);
    }
}

void Passing::bring_along(Bundle& bundle, Channel channel) noexcept
{
    for (Remembered& r : remembered_) {
        if ((r.has & bit(channel)) != 0) continue;
        bundle.push_back(on(channel, r.message));
        r.has = static_cast<std::uint16_t>(r.has | bit(channel));
        if (const auto pedal = pedal_of(r.message)) set(pedals_down_[*pedal], channel, r.message.second() != up);
        if (r.message.kind() == MessageKind::pitch_bend)
            set(bent_, channel, Midi14::nearest(r.message.second().get() * 128 + r.message.first().get()) != bend_centre);
    }
}

void Passing::forget() noexcept
{
    for (Remembered& r : remembered_) r.has = 0;
}

void Passing::let_up(Bundle& bundle, Channel channel) noexcept
{
    for (std::size_t i = 0; i < pedals.size(); ++i)
        if ((pedals_down_[i] & bit(channel)) != 0) bundle.push_back(control_change(channel, Midi7::nearest(pedals[i]), up));
    if ((bent_ & bit(channel)) != 0) bundle.push_back(pitch_bend(channel, bend_centre));
    for (auto& down : pedals_down_) set(down, channel, false);
    set(bent_, channel, false);
    for (std::size_t i = remembered_.size(); i > 0; --i) {
        const Message& m = remembered_[i - 1].message;
        if (m.kind() == MessageKind::pitch_bend || pedal_of(m)) remembered_.erase_at(i - 1);
    }
}

} // namespace bowarm
