// How to speak to one sampler or synthesiser; loaded from config/targets.
//   Constant after the player is built.  Channels and keys are checked by the loader.
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

// The most messages that are ever sent as one: 4 for the switch, 24 for twelve curves of 14 bits, the rest for notes.
inline constexpr std::size_t bundle_limit = 48;

enum class SwitchKind : std::uint8_t { none, keyswitch_latching, keyswitch_held, program, controller, channel };
struct Switch {
    SwitchKind kind{SwitchKind::none};
    Midi7 number;               // key, program or controller
    Midi7 value;                // velocity of the key or value of the controller
    std::optional<Midi14> bank; // program only: sent as control change 0 and 32 before it
    Channel channel;            // kind channel only: notes and curves go there
};

// What the target can do when the technique turned out wrong after the onset.
enum class Repair : std::uint8_t {
    none,
    sound_again,     // switch, and a soft new note
    controller_fade, // fade the loudness controller, then end
};

// What the outgoing note velocity means.
enum class VelocityMeaning : std::uint8_t { as_played, loudness, attack };

struct TechniqueWay {
    bool present{false};
    Switch down;
    Switch up;           // equal to down where the sampler has no pair
    bool sustains{true}; // sounds as long as the key; false: a short sample
    Seconds sounds_for;  // length of the short sample
    Repair repair{Repair::none};
    VelocityMeaning velocity{VelocityMeaning::as_played};
    std::optional<Technique> fallback; // where not present
    SpeakingDelay speaking;            // how long after the note it is heard
};

enum class BowQuantity : std::uint8_t { loudness, speed, force, contact_point, direction, hair };

// A quantity that colours another curve: at depth d the curve is multiplied by (1 - d) + d * ratio,
// the ratio being this quantity's present value over the one planned for the wanted loudness; for the speed, that of
// speed over beta, which is what is heard of it.
struct Mixed {
    BowQuantity quantity{BowQuantity::speed};
    double depth{0}; // 0..1
};

struct CurveWay {
    BowQuantity quantity{BowQuantity::loudness};
    Controller controller;
    double from{0}, to{1}; // the quantity's range: m/s, N, beta, 0..1; direction: 0 up, 1 down
    int low{0}, high{127}; // what is sent at from and at to; high < low turns the curve round
    double exponent{1};    // of the position between from and to; 1 is a straight line
    int dead_band{0};      // smallest change that is sent
    int initial{-1};       // value sent when nothing has sounded yet; -1: none
    FixedVector<Mixed, 3> mixed;
};

enum class SlurOrder : std::uint8_t { new_before_old_ends, old_ends_before_new }; // the first overlaps
enum class HeldChange : std::uint8_t { dip, new_note, switch_only };              // a bow change inside a held note

struct TargetSpec {
    std::array<char, 48> name{};
    Channel channel;
    std::array<TechniqueWay, technique_count> techniques{};
    FixedVector<CurveWay, 12> curves;
    SlurOrder slur{SlurOrder::new_before_old_ends};
    HeldChange held_change{HeldChange::dip};
    Midi7 held_change_velocity;
    bool section{false}; // several players: a run-out of hair only marks the part
    int rate_high{200};  // curve values a second, each controller
};

} // namespace bowarm
