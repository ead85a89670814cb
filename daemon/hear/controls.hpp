// Which keys, pedals and controllers the person uses, and for what.
//   Filled by the configuration before the player is built; constant afterwards.
#pragma once

#include "base/fixed_vector.hpp"
#include "base/technique.hpp"
#include "midi/message.hpp"

#include <array>
#include <cstdint>
#include <optional>

namespace bowarm
{

enum class ActionKind : std::uint8_t {
    none,
    select_technique, // held until another choice or read_technique
    read_technique,   // read the technique from the playing again
    bypass,           // a key toggles; a controller is on at 64 and above (MIDI 1.0: switches)
    panic,
    same_bow,  // while held: no change of direction
    alternate, // strokes simply alternate; a key toggles, a controller is on at 64 and above
    next_down,
    next_up,
    next_retake,
    tap_beat,     // a beat is now
    tap_bar,      // a bar begins now
    down_bows,    // while held: every stroke is a down-bow at the frog
    mute,         // a key toggles; a controller is on at 64 and above
    contact_zone, // the bow goes to that zone's place
    string,       // while held: this string where it has the note
    open_strings, // while held: open wherever there is an open string
    take,         // a take begins, or ends: take/ listens, the arm does nothing
    keep_take,    // the take is never pruned
    hear_take,    // the last take is heard again
    player,       // that player is the one under the hands from now on
    next_player,  // of those that can be
    previous_player,
};
// A string as players name it.
struct StringName {
    std::uint8_t number{0};      // from the highest, 1; 0: by its letter
    std::uint8_t pitch_class{0}; // of the open string, 0 is C
    constexpr bool operator==(const StringName&) const = default;
};
struct Action {
    ActionKind kind{ActionKind::none};
    Technique technique{Technique::detache};
    ContactZone zone{ContactZone::ordinary};
    StringName string{};
    std::uint8_t player{0}; // from 0
};

// A controller whose value in [low, high] means the action (for switches: 64..127).
struct ControllerAction {
    Midi7 number;
    Midi7 low;
    Midi7 high;
    Action action;
};

enum class PersonController : std::uint8_t { none, control_change, channel_pressure };
struct PersonControl {
    PersonController kind{PersonController::none};
    Midi7 number;
    // What it sends at its least and at its most; from above to: a pedal that works the other way round.
    Midi7 from{Midi7::nearest(0)};
    Midi7 to{Midi7::nearest(127)};
};

enum class SustainMeaning : std::uint8_t { same_bow, ignore, pass };

struct Controls {
    PersonControl loudness;      // wanted loudness, 0..127 -> 0..1; a breath controller is control change 2
    PersonControl contact_point; // 0 at the fingerboard, 64 ordinary, 127 at the bridge
    PersonControl amount;        // how far the arm's curves and automatic choices go, 0..127 -> 0..1
    SustainMeaning sustain{SustainMeaning::same_bow};
    std::array<Action, 128> keys{}; // control keys: they do something instead of sounding
    FixedVector<ControllerAction, 64> controllers;
    std::array<Action, 128> programs{}; // program changes that do something; all others stop here
    std::optional<Channel> channel;     // only this channel is listened to; all when empty
};

} // namespace bowarm
