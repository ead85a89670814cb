// How to speak to one sampler or synthesiser; loaded from config/targets.
//   Constant after the player is built.  What contradicts itself is refused by the loader (studio/target_file.hpp).
#pragma once

#include "base/fixed_vector.hpp"
#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "midi/message.hpp"
#include "target/speaking_delay.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

namespace bowarm
{

// The most messages that are ever sent as one: 25 for the switches with what they release, 8 of the person's controllers for
// another channel, 24 for twelve curves of 14 bits, 33 for notes that end and begin.
inline constexpr std::size_t bundle_limit = 96;

enum class SwitchKind : std::uint8_t { keyswitch_latching, keyswitch_held, program, controller };
struct SwitchStep {
    SwitchKind kind{SwitchKind::keyswitch_latching};
    Midi7 number;               // key, program or controller
    Midi7 value;                // velocity of the key or value of the controller
    std::optional<Midi14> bank; // program only: sent as control change 0 and 32 before it

    bool operator==(const SwitchStep&) const = default;
};

// All that selects one sound, in the order in which it is sent; a program goes before the rest, at most one in a switch.
struct Switch {
    static constexpr std::size_t limit = 4;
    FixedVector<SwitchStep, limit> steps;
    std::optional<Channel> channel; // notes and curves go there instead

    bool operator==(const Switch& other) const noexcept
    {
        if (channel != other.channel || steps.size() != other.steps.size()) return false;
        for (std::size_t i = 0; i < steps.size(); ++i)
            if (steps[i] != other.steps[i]) return false;
        return true;
    }
};

// What holds beside the technique: one of a pair or of three is in force at a time.
enum class TargetState : std::uint8_t { unmuted, muted, sul_tasto, ordinary, sul_ponticello };
inline constexpr std::size_t target_state_count = 5;
inline constexpr std::size_t state_steps_limit = 2;

// What the target can do when the technique turned out wrong after the onset.
enum class Repair : std::uint8_t {
    none,
    sound_again,     // switch, and a soft new note
    controller_fade, // fade the loudness controller under the sound that ends too soon
    release_switch,  // let go of the held keyswitch: the sampler goes over to its long sound by itself
};

// What the outgoing note velocity means.
enum class VelocityMeaning : std::uint8_t {
    as_played,
    loudness,
    attack,
    slur_speed, // of a slurred note, how quick the change of note is; of another, its attack
};

// A sound of its own for part of the range of what the layers go by.
struct Layer {
    double to{0}; // up to and including; loudness 0..1 or velocity 1..127
    Switch down;
    Switch up;
};
enum class LayersBy : std::uint8_t { loudness, velocity };

struct TechniqueWay {
    bool present{false};
    Switch down;
    Switch up;                    // equal to down where the sampler has no pair
    FixedVector<Layer, 4> layers; // instead of down and up, where there are any; the last takes all above
    LayersBy layers_by{LayersBy::loudness};
    bool sustains{true}; // sounds as long as the key; false: a short sample
    Seconds sounds_for;  // length of the short sample
    Repair repair{Repair::none};
    VelocityMeaning velocity{VelocityMeaning::as_played};
    Midi7 velocity_low{Midi7::nearest(1)}; // what 1 and 127 become
    Midi7 velocity_high{Midi7::nearest(127)};
    std::optional<Technique> fallback; // where not present
    SpeakingDelay speaking;            // how long after the note it is heard
};

enum class BowQuantity : std::uint8_t { loudness, speed, force, contact_point, direction, hair };

// A quantity that colours another curve: at depth d the curve is multiplied by 1 + d * (ratio - 1).
struct Mixed {
    BowQuantity quantity{BowQuantity::speed}; // speed, force or contact point
    double depth{0};                          // -1..1
};

struct CurvePoint {
    double at{0}; // in the quantity's unit
    int value{0};
};

struct CurveWay {
    BowQuantity quantity{BowQuantity::loudness};
    Controller controller;
    double from{0}, to{1};             // the quantity's range: m/s, N, beta, 0..1; direction: 0 up, 1 down
    int low{0}, high{127};             // what is sent at from and at to; high < low turns the curve round
    double exponent{1};                // of the position between from and to; 1 is a straight line
    FixedVector<CurvePoint, 8> points; // instead of the five above, where there are any: rising places, values all one way
    int dead_band{0};                  // smallest change that is sent
    int initial{-1};                   // value sent when nothing has sounded yet; -1: none
    int rate_high{0};                  // values a second; 0: as the target says
    Seconds smoothing{0};              // a curve goes half the way to where it is wanted in this time; 0: at once
    FixedVector<Mixed, 3> mixed;
};

// A controller that the person moves, on its way to the target.
struct PassRule {
    Controller from;              // channel unused
    std::optional<Controller> to; // empty: it is not passed on
};

enum class SlurOrder : std::uint8_t { new_before_old_ends, old_ends_before_new }; // the first overlaps
enum class HeldChange : std::uint8_t { dip, new_note, switch_only };              // a bow change inside a held note

struct TargetSpec {
    std::array<char, 48> name{};
    Channel channel;
    std::array<TechniqueWay, technique_count> techniques{};
    std::array<std::optional<Switch>, target_state_count> states{};
    FixedVector<CurveWay, 12> curves;
    FixedVector<PassRule, 32> pass;
    SlurOrder slur{SlurOrder::new_before_old_ends};
    HeldChange held_change{HeldChange::dip};
    Midi7 held_change_velocity;
    bool section{false};    // several players: a run-out of hair only marks the part
    int rate_high{200};     // curve values a second, each controller
    Seconds switch_lead{0}; // the switch wants to be this long before its note, where the note is known beforehand
    Seconds pick_up{0};     // the loudness curves ease over this time when the person's controller is first moved
};

} // namespace bowarm
