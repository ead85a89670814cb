#include "target/selection.hpp"

namespace bowarm
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1: both halves of the bank, the program change immediately after them.
constexpr Midi7 bank_high = Midi7::nearest(0);
constexpr Midi7 bank_low = Midi7::nearest(32);

bool same_keys(const Switch& a, const Switch& b)
{
    const auto next = [](const Switch& s, std::size_t i) {
        while (i < s.steps.size() && s.steps[i].kind != SwitchKind::keyswitch_latching) ++i;
        return i;
    };
    std::size_t i = next(a, 0);
    std::size_t j = next(b, 0);
    while (i < a.steps.size() && j < b.steps.size()) {
        if (a.steps[i] != b.steps[j]) return false;
        i = next(a, i + 1);
        j = next(b, j + 1);
    }
    return i == a.steps.size() && j == b.steps.size();
}

bool holds(const Switch& s, Midi7 key)
{
    for (const SwitchStep& step : s.steps)
        if (step.kind == SwitchKind::keyswitch_held && step.number == key) return true;
    return false;
}

bool sends(const Switch& s, const Message& m)
{
    for (const SwitchStep& step : s.steps) {
        switch (step.kind) {
        case SwitchKind::keyswitch_latching:
        case SwitchKind::keyswitch_held:
            if ((m.is_note_on() || m.is_note_off()) && m.first() == step.number) return true;
            break;
        case SwitchKind::controller:
            if (m.kind() == MessageKind::control_change && m.first() == step.number) return true;
            break;
        case SwitchKind::program:
            if (m.kind() == MessageKind::program_change) return true;
            if (m.kind() == MessageKind::control_change && (m.first() == bank_high || m.first() == bank_low)) return true;
            break;
        }
    }
    return false;
}

} // namespace

Selection::Selection() { forget(); }

void Selection::forget() noexcept
{
    for (OnChannel& c : channels_) {
        c.latched = {};
        c.program.reset();
        c.controllers.fill(-1);
        c.held_in_doubt = !c.held.empty();
    }
}

bool Selection::stands_at(Channel channel, const Switch& technique) const noexcept
{
    const auto& latched = channels_[channel.get()].latched[0];
    return latched && *latched == technique;
}

void Selection::release(Bundle& bundle, Channel channel) noexcept
{
    OnChannel& c = on(channel);
    for (const Midi7 key : c.held) bundle.push_back(note_off(channel, key));
    c.held.clear();
    c.held_in_doubt = false;
}

void Selection::add_program(Bundle& bundle, Channel channel, const Switch& technique) noexcept
{
    OnChannel& c = on(channel);
    for (const SwitchStep& step : technique.steps) {
        if (step.kind != SwitchKind::program || c.program == step) continue;
        release(bundle, channel);
        if (step.bank) {
            bundle.push_back(control_change(channel, bank_high, step.bank->high()));
            bundle.push_back(control_change(channel, bank_low, step.bank->low()));
        }
        bundle.push_back(program_change(channel, step.number));
        c.program = step;
        c.latched = {};
    }
}

void Selection::release_unwanted(Bundle& bundle, Channel channel, const Wanted& wanted) noexcept
{
    OnChannel& c = on(channel);
    for (std::size_t i = 0; i < c.held.size();) {
        bool still = false;
        for (const Switch* s : wanted) still = still || (s != nullptr && holds(*s, c.held[i]));
        if (still) {
            ++i;
            continue;
        }
        bundle.push_back(note_off(channel, c.held[i]));
        c.held.erase_at(i);
    }
}

void Selection::add_row(Bundle& bundle, Channel channel, std::size_t row, const Switch& wanted) noexcept
{
    OnChannel& c = on(channel);
    const bool has_keys = c.latched[row] && same_keys(*c.latched[row], wanted);
    for (const SwitchStep& step : wanted.steps) {
        switch (step.kind) {
        case SwitchKind::program:
            break;
        case SwitchKind::controller: {
            std::int8_t& value = c.controllers[step.number.get()];
            if (value == static_cast<std::int8_t>(step.value.get())) break;
            bundle.push_back(control_change(channel, step.number, step.value));
            value = static_cast<std::int8_t>(step.value.get());
            break;
        }
        case SwitchKind::keyswitch_latching:
            if (has_keys) break;
            bundle.push_back(note_on(channel, step.number, step.value));
            bundle.push_back(note_off(channel, step.number));
            break;
        case SwitchKind::keyswitch_held: {
            bool down = false;
            for (const Midi7 key : c.held) down = down || key == step.number;
            if (down) break;
            bundle.push_back(note_on(channel, step.number, step.value));
            c.held.push_back(step.number);
            break;
        }
        }
    }
    c.latched[row] = wanted;
}

void Selection::add(Bundle& bundle, Channel channel, const Wanted& wanted) noexcept
{
    if (on(channel).held_in_doubt) release(bundle, channel);
    if (wanted[0] != nullptr) add_program(bundle, channel, *wanted[0]);
    release_unwanted(bundle, channel, wanted);
    for (std::size_t row = 0; row < rows; ++row)
        if (wanted[row] != nullptr) add_row(bundle, channel, row, *wanted[row]);
}

bool selects(const TargetSpec& spec, const Message& message) noexcept
{
    for (const TechniqueWay& way : spec.techniques) {
        if (!way.present) continue;
        if (sends(way.down, message) || sends(way.up, message)) return true;
        for (const Layer& layer : way.layers)
            if (sends(layer.down, message) || sends(layer.up, message)) return true;
    }
    for (const auto& state : spec.states)
        if (state && sends(*state, message)) return true;
    return false;
}

SwitchMessages::SwitchMessages(const TargetSpec& spec)
{
    constexpr Midi7 some = Midi7::nearest(1);
    for (int c = 0; c < 16; ++c) {
        const Channel channel = *Channel::from(c);
        for (int n = 0; n < 128; ++n) {
            const Midi7 number = Midi7::nearest(n);
            if (selects(spec, note_on(channel, number, some))) keys_.set(number.get());
            if (selects(spec, control_change(channel, number, some))) controllers_.set(number.get());
        }
    }
}

bool SwitchMessages::has(const Message& message) const noexcept
{
    switch (message.kind()) {
    case MessageKind::note_on:
    case MessageKind::note_off:
        return key(message.first());
    case MessageKind::control_change:
        return controller(message.first());
    case MessageKind::program_change:
        return true;
    default:
        return false;
    }
}

} // namespace bowarm
