#include "target/target.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1, controller numbers and channel mode messages.
constexpr Midi7 bank_high = Midi7::nearest(0);
constexpr Midi7 bank_low = Midi7::nearest(32);
constexpr Midi7 sustain = Midi7::nearest(64);
constexpr Midi7 all_sound_off = Midi7::nearest(120);
constexpr Midi7 all_notes_off = Midi7::nearest(123);
constexpr Midi7 nothing = Midi7::nearest(0);
constexpr Midi14 bend_centre = Midi14::nearest(8192);

bool same_switch(const Switch& a, const Switch& b)
{
    return a.kind == b.kind && a.number == b.number && a.value == b.value && a.bank == b.bank && a.channel == b.channel;
}

double quantity(BowQuantity q, const Motion& m, const BowState& s)
{
    switch (q) {
    case BowQuantity::loudness:
        return s.loudness.value;
    case BowQuantity::speed:
        return m.speed.value;
    case BowQuantity::force:
        return m.force.value;
    case BowQuantity::contact_point:
        return m.beta.value;
    case BowQuantity::direction:
        return s.direction == Direction::down ? 1.0 : 0.0;
    case BowQuantity::hair:
        return s.hair.value;
    }
    return 0;
}

bool is_motion(BowQuantity q) { return q == BowQuantity::speed || q == BowQuantity::force || q == BowQuantity::contact_point; }

// What a mixed-in quantity is heard by.  A bow that slows and moves to the bridge is as loud as before: of the speed, what
// counts is the string's amplitude, speed over beta.
double colour(BowQuantity q, const Motion& m, const BowState& s)
{
    if (q == BowQuantity::speed) return m.beta.value > 0 ? m.speed.value / m.beta.value : 0;
    return quantity(q, m, s);
}

// How strongly each technique attacks, 1 = detache; our own scale.
double bite(Technique t)
{
    switch (t) {
    case Technique::legato:
    case Technique::portato:
        return 0.8;
    case Technique::staccato:
    case Technique::hooked:
        return 1.15;
    case Technique::marcato:
    case Technique::martele:
        return 1.45;
    default:
        return 1.0;
    }
}
constexpr double ordinary_attack = 84;

} // namespace

Voice Target::voice(Technique technique) const noexcept
{
    Voice v{technique, nullptr, spec_.channel, false};
    Technique t = technique;
    for (int step = 0; step < technique_count; ++step) {
        const TechniqueWay& way = spec_.techniques[static_cast<std::size_t>(t)];
        if (way.present) {
            v.technique = t;
            v.way = &way;
            if (way.down.kind == SwitchKind::channel) v.channel = way.down.channel;
            return v;
        }
        if (!way.fallback) break;
        t = *way.fallback;
    }
    v.missing = true;
    return v;
}

void Target::release_held_switch(Bundle& bundle) noexcept
{
    if (!held_switch_) return;
    bundle.push_back(note_off(selected_.channel, *held_switch_));
    held_switch_.reset();
}

bool Target::has_selected(const Voice& voice) const noexcept
{
    if (voice.way == nullptr || !selected_.known) return false;
    return same_switch(selected_.as, voice.way->down) || same_switch(selected_.as, voice.way->up);
}

void Target::add_switch(Bundle& bundle, const Voice& voice, Direction direction) noexcept
{
    if (voice.way == nullptr) return;
    const Switch& wanted = direction == Direction::down ? voice.way->down : voice.way->up;
    if (selected_.known && same_switch(selected_.as, wanted)) return;
    release_held_switch(bundle);
    switch (wanted.kind) {
    case SwitchKind::none:
    case SwitchKind::channel:
        break;
    case SwitchKind::keyswitch_latching:
        bundle.push_back(note_on(voice.channel, wanted.number, wanted.value));
        bundle.push_back(note_off(voice.channel, wanted.number));
        break;
    case SwitchKind::keyswitch_held:
        bundle.push_back(note_on(voice.channel, wanted.number, wanted.value));
        held_switch_ = wanted.number;
        break;
    case SwitchKind::program:
        if (wanted.bank) {
            bundle.push_back(control_change(voice.channel, bank_high, wanted.bank->high()));
            bundle.push_back(control_change(voice.channel, bank_low, wanted.bank->low()));
        }
        bundle.push_back(program_change(voice.channel, wanted.number));
        break;
    case SwitchKind::controller:
        bundle.push_back(control_change(voice.channel, wanted.number, wanted.value));
        break;
    }
    selected_ = {wanted, voice.channel, true};
}

int Target::value(const CurveWay& way, const BowState& s) const noexcept
{
    double q = quantity(way.quantity, s.now, s);
    if (is_motion(way.quantity)) q = between(quantity(way.quantity, s.neutral, s), q, s.amount);
    double place = (q - way.from) / (way.to - way.from);
    place = place < 0 ? 0 : (place > 1 ? 1 : place);
    if (way.exponent != 1 && place > 0) place = power(place, way.exponent);
    for (const Mixed& m : way.mixed) {
        const double planned = colour(m.quantity, s.planned, s);
        const double ratio = is_motion(m.quantity) && planned > 0 ? colour(m.quantity, s.now, s) / planned : 1.0;
        const double depth = m.depth * s.amount;
        place *= 1 - depth + depth * (ratio < 0 ? 0 : (ratio > 2 ? 2 : ratio));
    }
    place = place > 1 ? 1 : place;
    return static_cast<int>(nearest(between(way.low, way.high, place)));
}

void Target::add_curve(Bundle& bundle, const Controller& c, int value) const noexcept
{
    switch (c.kind) {
    case ControllerKind::control_change:
        bundle.push_back(control_change(c.channel, c.number, Midi7::nearest(value)));
        break;
    case ControllerKind::control_change_14:
        bundle.push_back(control_change(c.channel, c.number, Midi14::nearest(value).high()));
        bundle.push_back(control_change(c.channel, Midi7::nearest(c.number.get() + 32), Midi14::nearest(value).low()));
        break;
    case ControllerKind::channel_pressure:
        bundle.push_back(channel_pressure(c.channel, Midi7::nearest(value)));
        break;
    case ControllerKind::pitch_bend:
        bundle.push_back(pitch_bend(c.channel, Midi14::nearest(value)));
        break;
    }
}

void Target::add_first_values(Bundle& bundle, const Voice& voice, const BowState& state) noexcept
{
    for (std::size_t i = 0; curves_ && i < spec_.curves.size(); ++i) {
        const int v = value(spec_.curves[i], state);
        if (sent_[i].value == v && sent_[i].channel == voice.channel) continue;
        Controller c = spec_.curves[i].controller;
        c.channel = voice.channel;
        add_curve(bundle, c, v);
        sent_[i] = {voice.channel, v};
    }
}

FixedVector<CurveValue, 12> Target::moved(Channel channel, const BowState& state) noexcept
{
    FixedVector<CurveValue, 12> values;
    for (std::size_t i = 0; curves_ && i < spec_.curves.size(); ++i) {
        const CurveWay& way = spec_.curves[i];
        const int v = value(way, state);
        const int change = v < sent_[i].value ? sent_[i].value - v : v - sent_[i].value;
        if (sent_[i].channel == channel && sent_[i].value >= 0 && change <= way.dead_band) continue;
        sent_[i] = {channel, v};
        Controller c = way.controller;
        c.channel = channel;
        values.push_back({c, v});
    }
    return values;
}

void Target::add_note_on(Bundle& bundle, Channel channel, Midi7 key, Midi7 velocity) noexcept
{
    bundle.push_back(note_on(channel, key, velocity));
}

void Target::add_note_off(Bundle& bundle, Channel channel, Midi7 key) noexcept { bundle.push_back(note_off(channel, key)); }

std::optional<Message> Target::pass(const Message& message) noexcept
{
    for (const CurveWay& way : spec_.curves) {
        const Controller& c = way.controller;
        const bool same_kind = (message.kind() == MessageKind::channel_pressure && c.kind == ControllerKind::channel_pressure) ||
                               (message.kind() == MessageKind::pitch_bend && c.kind == ControllerKind::pitch_bend);
        const bool is_controller = message.kind() == MessageKind::control_change;
        const bool same_number = is_controller && ((c.kind == ControllerKind::control_change && message.first() == c.number) ||
                                                   (c.kind == ControllerKind::control_change_14 &&
                                                    (message.first() == c.number || message.first().get() == c.number.get() + 32)));
        if (same_kind || same_number) return std::nullopt;
    }
    Message out = message;
    out.bytes[0] = static_cast<std::uint8_t>((message.bytes[0] & 0xF0) | spec_.channel.get());
    if (message.kind() == MessageKind::control_change && message.first() == sustain) pedal_passed_ = true;
    if (message.kind() == MessageKind::pitch_bend) bend_passed_ = true;
    return out;
}

void Target::add_silence(Bundle& bundle, bool sound_off) noexcept
{
    release_held_switch(bundle);
    if (pedal_passed_) bundle.push_back(control_change(spec_.channel, sustain, nothing));
    if (bend_passed_) bundle.push_back(pitch_bend(spec_.channel, bend_centre));
    bundle.push_back(control_change(spec_.channel, all_notes_off, nothing));
    if (sound_off) bundle.push_back(control_change(spec_.channel, all_sound_off, nothing));
    pedal_passed_ = bend_passed_ = false;
    forget();
}

void Target::take_over(const Target& other) noexcept
{
    sent_ = other.sent_;
    selected_ = other.selected_;
    held_switch_ = other.held_switch_;
    pedal_passed_ = other.pedal_passed_;
    bend_passed_ = other.bend_passed_;
}

void Target::forget() noexcept
{
    sent_ = {};
    selected_ = {};
    held_switch_.reset();
}

Midi7 Target::velocity(const Voice& voice, Midi7 played, Loudness loudness, double accent) const noexcept
{
    const VelocityMeaning meaning = voice.way != nullptr ? voice.way->velocity : VelocityMeaning::as_played;
    std::int64_t v = played.get();
    if (meaning == VelocityMeaning::loudness) v = nearest(loudness.value * 127);
    if (meaning == VelocityMeaning::attack) v = nearest(ordinary_attack * bite(voice.technique) * accent);
    return Midi7::nearest(v < 1 ? 1 : v);
}

} // namespace bowarm
