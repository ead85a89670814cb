// Everything that can change a player, with the moment it happened.
//   thread   plain data.  Real-time safe: yes.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "base/time.hpp"
#include "midi/message.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

// Which input it came from: keyboards and boxes are numbered from 0 in the order of the configuration.
struct Source {
    std::uint8_t number{0};
    constexpr bool operator==(const Source&) const = default;
};
inline constexpr Source source_hindsight{252}; // found out about a take afterwards; nobody played it
inline constexpr Source source_again{253};     // a take that is heard again
inline constexpr Source source_service{254};   // the socket, the operating system
inline constexpr Source source_file{255};      // tempo and meter of the file being played

enum class InputKind : std::uint8_t {
    midi,      // data[0..size-1]: one whole message; data[7]: its size
    tempo,     // data[0..2]: microseconds per quarter note, high byte first
    meter,     // data[0]: beats in the bar; data[1]: the beat as a power of two (2 = quarter); a bar begins now
    command,   // data[0]: Command; data[1]: its argument; data[2]: for which player, counted from 1; 0: for all
    port_lost, // the source is gone: its keys are released
    port_back,
    gap,        // events of the source were lost: its keys are released
    configured, // a new player with a new configuration takes over from here; no player hears it
};

enum class Command : std::uint8_t {
    panic,     // silence now, whatever the keys say
    bypass_on, // between strokes
    bypass_off,
    select_technique, // argument: Technique
    read_technique,   // back to reading the technique from the playing
    amount,           // argument: 0..127, how far the curves and the automatic choices go
    next_down,
    next_up,
    next_retake,
    same_bow_on,
    same_bow_off,
    tap_beat,       // a beat is now
    tap_bar,        // a bar begins now
    target_unknown, // the output came back: nothing is known of the state the target is in
    alternate_on,   // strokes simply alternate
    alternate_off,
    take_begin, // for take/ alone, as the two below: the arm does nothing
    take_end,
    keep_take,     // the take that runs, or else the last one, is never pruned
    loudness,      // argument: 0..127, wanted loudness
    contact_point, // argument: 0 at the fingerboard, 64 ordinary, 127 at the bridge
    mute_on,
    mute_off,
    down_bows_on, // every stroke a down-bow at the frog
    down_bows_off,
    string_on, // argument: a string; this string where it has the note
    string_off,
    open_strings_on, // open wherever there is an open string
    open_strings_off,
    choose_player, // argument: the player, from 0, that is under the hands from now on
    bow_at,        // argument: 0 the last stroke was a down-bow, 1 an up-bow; data[3..4]: place on the hair, low byte first, 65535 the
                   // tip; data[5]: string, from the lowest.  The bow stands there, where no note sounds
    hear_take,     // for take/ alone: the last take is heard again
};

// A string as an argument: counted from the highest (1 to 6), or by the pitch class of the open string (0 is C).
constexpr std::uint8_t string_argument_by_number(std::uint8_t number) { return number; }
constexpr std::uint8_t string_argument_by_letter(std::uint8_t pitch_class) { return static_cast<std::uint8_t>(16 + pitch_class); }

struct Input {
    Time at;
    Source source;
    InputKind kind{InputKind::midi};
    std::array<std::uint8_t, 8> data{};
};

constexpr Input midi_input(Time at, Source source, const Message& m)
{
    return {at, source, InputKind::midi, {m.bytes[0], m.bytes[1], m.bytes[2], 0, 0, 0, 0, m.size}};
}
constexpr Input command_input(Time at, Command command, std::uint8_t argument = 0, std::uint8_t player_from_1 = 0)
{
    return {at, source_service, InputKind::command, {static_cast<std::uint8_t>(command), argument, player_from_1}};
}
constexpr Input bow_at_input(Time at, HairFraction place, Direction direction, std::uint8_t string)
{
    const auto hair = static_cast<std::uint16_t>(place.value * 65535 + 0.5);
    return {at,
            source_service,
            InputKind::command,
            {static_cast<std::uint8_t>(Command::bow_at), static_cast<std::uint8_t>(direction == Direction::up ? 1 : 0), 0,
             static_cast<std::uint8_t>(hair & 0xFF), static_cast<std::uint8_t>(hair >> 8), string}};
}
constexpr Message as_message(const Input& input) { return {{input.data[0], input.data[1], input.data[2]}, input.data[7]}; }
constexpr Input tempo_input(Time at, std::uint32_t microseconds_per_quarter)
{
    return {at,
            source_file,
            InputKind::tempo,
            {static_cast<std::uint8_t>(microseconds_per_quarter >> 16 & 0xFF),
             static_cast<std::uint8_t>(microseconds_per_quarter >> 8 & 0xFF), static_cast<std::uint8_t>(microseconds_per_quarter & 0xFF)}};
}
// Of an input of kind tempo; 0: none.
constexpr std::uint32_t microseconds_a_quarter(const Input& tempo)
{
    return static_cast<std::uint32_t>(tempo.data[0]) << 16 | static_cast<std::uint32_t>(tempo.data[1]) << 8 | tempo.data[2];
}
constexpr Input meter_input(Time at, std::uint8_t beats, std::uint8_t beat_as_power_of_two)
{
    return {at, source_file, InputKind::meter, {beats, beat_as_power_of_two}};
}

} // namespace bowarm
