// The room that speaks to one sampler: strokes and curves in, messages out, only what differs from what was sent.
//   in       the technique wanted, the state of the bow, keys; values in the units of the types
//   out      messages in a safe order: switch, first controller values, note
//   thread   the player's.  Real-time safe: yes.
//   Errors   a technique with neither way nor fallback sounds with whatever is in force (Voice::missing).
#pragma once

#include "base/fixed_vector.hpp"
#include "bow/plan.hpp"
#include "target/target_spec.hpp"

#include <array>
#include <optional>
#include <span>

namespace bowarm
{

using Bundle = FixedVector<Message, bundle_limit>;
inline std::span<const Message> messages(const Bundle& bundle) { return {bundle.data(), bundle.size()}; }

// What the target is asked to sound with.
struct Voice {
    Technique technique{Technique::detache}; // after fallback
    const TechniqueWay* way{nullptr};
    Channel channel;
    bool missing{false};
};

// The bow as the curves see it.
struct BowState {
    Loudness loudness; // wanted, 0..1
    Motion now;        // speed as a magnitude
    Motion planned;    // the steady motion that now stands for
    Motion neutral;    // what the table says for the loudness, whatever the hair
    Direction direction{Direction::down};
    HairFraction hair;
    double amount{1}; // how much of the arm's own curves is sent, 0..1
};

struct CurveValue {
    Controller controller;
    int value{0};
};

class Target
{
public:
    explicit Target(const TargetSpec& spec) : spec_(spec) {}

    Voice voice(Technique technique) const noexcept;
    // Selects the sound, when it is not selected already.
    void add_switch(Bundle& bundle, const Voice& voice, Direction direction) noexcept;
    // The curves' values that differ from those sent.
    void add_first_values(Bundle& bundle, const Voice& voice, const BowState& state) noexcept;
    void add_note_on(Bundle& bundle, Channel channel, Midi7 key, Midi7 velocity) noexcept;
    void add_note_off(Bundle& bundle, Channel channel, Midi7 key) noexcept;
    // Values that have moved far enough, at most one a curve.
    FixedVector<CurveValue, 12> moved(Channel channel, const BowState& state) noexcept;
    // The message as it goes on to the target; empty when the arm speaks on that controller itself.
    std::optional<Message> pass(const Message& message) noexcept;
    // What leaves nothing sounding and nothing held; at most the bundle's size.
    void add_silence(Bundle& bundle, bool sound_off) noexcept;
    void forget() noexcept;
    // Whether the target stands at that voice, in either direction.
    bool has_selected(const Voice& voice) const noexcept;
    // What another has sent to the same target counts as sent.
    void take_over(const Target& other) noexcept;
    // Off: no curve is sent, at onsets either; somebody else sends them.
    void send_curves(bool on) noexcept { curves_ = on; }
    void forget_switch() noexcept { selected_.known = false; }

    Midi7 velocity(const Voice& voice, Midi7 played, Loudness loudness, double accent) const noexcept;
    const TargetSpec& spec() const { return spec_; }

private:
    struct Sent {
        Channel channel;
        int value{-1};
    };
    struct Selected {
        Switch as;
        Channel channel;
        bool known{false};
    };
    int value(const CurveWay& way, const BowState& state) const noexcept;
    void add_curve(Bundle& bundle, const Controller& controller, int value) const noexcept;
    void release_held_switch(Bundle& bundle) noexcept;

    TargetSpec spec_;
    std::array<Sent, 12> sent_{};
    Selected selected_;
    std::optional<Midi7> held_switch_;
    bool curves_{true};
    bool pedal_passed_{false};
    bool bend_passed_{false};
};

} // namespace bowarm
