// A sampler as a state machine: what it has latched, held, selected and set on each of its channels.  It knows a target's file and
// the MIDI 1.0 messages, and nothing of how the arm decides what to send.
#pragma once

#include "target/target_spec.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <set>
#include <vector>

namespace bowarm::test
{

class SamplerModel
{
public:
    explicit SamplerModel(const TargetSpec& spec) : spec_(spec)
    {
        const auto keys_of = [](const Switch& s, std::set<int>& into) {
            for (const SwitchStep& step : s.steps)
                if (step.kind == SwitchKind::keyswitch_latching || step.kind == SwitchKind::keyswitch_held) into.insert(step.number.get());
        };
        for (const TechniqueWay& way : spec.techniques)
            for (const Switch* s : switches_of(way)) keys_of(*s, technique_keys_);
        for (std::size_t i = 0; i < spec.states.size(); ++i)
            if (spec.states[i]) keys_of(*spec.states[i], state_keys_[i < 2 ? 0 : 1]);
    }

    // All ways to ask for it.
    static std::vector<const Switch*> switches_of(const TechniqueWay& way)
    {
        std::vector<const Switch*> all;
        if (!way.present) return all;
        if (way.layers.empty()) {
            all = {&way.down, &way.up};
        } else {
            for (const Layer& layer : way.layers) {
                all.push_back(&layer.down);
                all.push_back(&layer.up);
            }
        }
        return all;
    }

    void hear(const Message& m)
    {
        OnChannel& c = channels_[m.channel().get()];
        const int number = m.first().get();
        switch (m.kind()) {
        case MessageKind::note_on:
        case MessageKind::note_off:
            if (is_key(number))
                press(c, number, m.is_note_on());
            else if (m.is_note_on())
                ++c.notes[number];
            else if (--c.notes[number] <= 0)
                c.notes.erase(number);
            break;
        case MessageKind::program_change:
            c.program = number;
            c.program_bank = c.bank;
            for (auto& row : c.pressed) row.clear();
            break;
        case MessageKind::control_change:
            c.controllers[number] = m.second().get();
            if (number == 0) c.bank = m.second().get() * 128 + c.bank % 128;
            if (number == 32) c.bank = c.bank / 128 * 128 + m.second().get();
            break;
        case MessageKind::pitch_bend:
            c.bend = m.second().get() * 128 + number;
            break;
        default:
            break;
        }
    }

    bool technique_in_force(const Switch& s, Channel on) const
    {
        return s.channel.value_or(spec_.channel) == on && in_force(s, channels_[on.get()], 0, technique_keys_);
    }
    bool state_in_force(TargetState state, Channel on) const
    {
        const auto i = static_cast<std::size_t>(state);
        const std::size_t row = i < 2 ? 0 : 1;
        return !spec_.states[i] || in_force(*spec_.states[i], channels_[on.get()], row + 1, state_keys_[row]);
    }
    bool is_key(int key) const { return technique_keys_.contains(key) || state_keys_[0].contains(key) || state_keys_[1].contains(key); }
    bool sounds_on(Channel on, int key) const { return channels_[on.get()].notes.contains(key); }
    bool at_rest() const
    {
        constexpr int pedals[] = {64, 66, 67, 69};
        for (const OnChannel& c : channels_) {
            if (!c.notes.empty() || !c.down.empty() || c.bend != 8192) return false;
            for (const int pedal : pedals)
                if (const auto at = c.controllers.find(pedal); at != c.controllers.end() && at->second != 0) return false;
        }
        return true;
    }

private:
    struct OnChannel {
        std::map<int, int> notes, controllers;
        std::array<std::vector<int>, 3> pressed; // technique, mute, contact point: the order of the keys
        std::set<int> down;
        std::optional<int> program;
        int bank{0}, program_bank{0}, bend{8192};
    };
    void press(OnChannel& c, int key, bool down)
    {
        if (!down) {
            c.down.erase(key);
            return;
        }
        c.down.insert(key);
        const std::size_t row = technique_keys_.contains(key) ? 0 : (state_keys_[0].contains(key) ? 1 : 2);
        c.pressed[row].push_back(key);
    }
    static bool in_force(const Switch& s, const OnChannel& c, std::size_t row, const std::set<int>& keys_of_row)
    {
        std::vector<int> latching;
        std::set<int> held;
        for (const SwitchStep& step : s.steps) {
            const int number = step.number.get();
            if (step.kind == SwitchKind::keyswitch_latching) latching.push_back(number);
            if (step.kind == SwitchKind::keyswitch_held) held.insert(number);
            if (step.kind == SwitchKind::controller) {
                const auto at = c.controllers.find(number);
                if (at == c.controllers.end() || at->second != step.value.get()) return false;
            }
            if (step.kind == SwitchKind::program && (c.program != number || (step.bank && c.program_bank != step.bank->get())))
                return false;
        }
        for (const int key : keys_of_row)
            if (c.down.contains(key) != held.contains(key)) return false;
        const auto& pressed = c.pressed[row];
        std::vector<int> last;
        for (auto key = pressed.rbegin(); key != pressed.rend() && last.size() < latching.size(); ++key)
            if (!held.contains(*key)) last.push_back(*key);
        std::reverse(last.begin(), last.end());
        return last == latching;
    }

    const TargetSpec& spec_;
    std::set<int> technique_keys_;
    std::array<std::set<int>, 2> state_keys_;
    std::array<OnChannel, 16> channels_;
};

} // namespace bowarm::test
