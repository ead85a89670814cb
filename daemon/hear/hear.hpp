// The room that hears: one input in, at most one gesture out.
//   in       inputs of any source, stamped with logical time; clocks and song positions among them
//   out      what the person did; loudness, contact point and amount in 0..1
//   thread   the player's.  Real-time safe: yes.  Errors: none; what means nothing is GestureKind::none.
#pragma once

#include "base/quantity.hpp"
#include "hear/controls.hpp"
#include "hear/input.hpp"

namespace bowarm
{

enum class GestureKind : std::uint8_t {
    none,
    key_down,       // pitch, velocity, note
    key_up,         // pitch
    release_source, // every key of the source is up
    panic,
    loudness,      // value
    contact_point, // value: 0 at the fingerboard, 0.5 ordinary, 1 at the bridge
    amount,        // value
    same_bow,      // on
    down_bows,     // on
    mute,          // on
    alternate,     // on
    technique,     // technique
    read_technique,
    bypass,         // on
    next_direction, // direction
    next_retake,
    pass,  // message: not for the arm
    tempo, // number: microseconds per quarter note
    meter, // number: beats in the bar; beat_unit
    target_unknown,
    tap_beat,
    tap_bar,
    clock, // of the source: 24 a quarter note
    clock_start,
    clock_continue,
    clock_stop,
    song_position, // number: sixteenths from the start of the song
    string,        // on, string
    open_strings,  // on
    bow_at,        // value: place on the hair; direction: of the last stroke; number: string, from the lowest
};

struct Gesture {
    Time at;
    GestureKind kind{GestureKind::none};
    Source source{};
    Midi7 pitch{};
    Midi7 velocity{};
    bool on{false};
    Technique technique{Technique::detache};
    StringName string{};
    Direction direction{Direction::down};
    double value{0};
    std::uint32_t number{0};
    std::uint8_t beat_unit{2}; // the beat as a power of two
    std::uint32_t note{0};     // order of all note-ons heard, control keys included, from 0
    Message message{};
};

class Hearing
{
public:
    explicit Hearing(const Controls& controls) : controls_(controls) {}
    Gesture hear(const Input& input) noexcept;
    // The number of the next note-on, where others hear notes that this one does not.
    void count_from(std::uint32_t note) noexcept { notes_ = note; }

private:
    Gesture hear_message(const Input& input) noexcept;
    Gesture hear_pressure(Gesture gesture, Midi7 value) noexcept;
    static Gesture hear_system(Gesture gesture, const Message& message) noexcept;
    Gesture hear_key(Gesture gesture, const Message& message) noexcept;
    Gesture hear_controller(Gesture gesture, const Message& message) noexcept;
    Gesture hear_command(Gesture gesture, const Input& input) noexcept;
    Gesture act(Gesture gesture, const Action& action, bool on) noexcept;
    Gesture toggle(Gesture gesture, GestureKind kind, bool& state) noexcept;

    Controls controls_;
    std::uint32_t notes_{0};
    bool bypassed_{false};
    bool alternating_{false};
    bool muted_{false};
};

} // namespace bowarm
