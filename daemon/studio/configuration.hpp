// The configuration file, the instruments and the targets it names, read and checked.
//   thread   any.  Real-time safe: no.
//   Errors   every problem at once, each with its place and a remedy; nothing is thrown for bad text.
#pragma once

#include "hear/hands.hpp"
#include "hear/timecode_clock.hpp"
#include "player/player.hpp"
#include "studio/lamps.hpp"
#include "studio/problem.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace bowarm
{

struct InputSettings {
    std::string name;                 // of our port, ASCII
    bool virtual_port{true};          // others may connect to it
    std::vector<std::string> connect; // parts of names, "\"whole names\"", globs with *, "re:" and a pattern
    bool optional{true};              // false: the service ends (69) when nothing matches at start
    InputFilter filter;
    bool operator==(const InputSettings&) const = default;
};
// What carries the messages: a network, USB, another program; or a five-pin DIN cable of 31 250 baud.
enum class Cable : std::uint8_t { free, din };
struct OutputSettings {
    std::string name;
    bool virtual_port{true};
    std::vector<std::string> connect;
    bool optional{true};
    Cable cable{Cable::free};
    bool marked{false}; // it says that its stream has been through the arm
    bool operator==(const OutputSettings&) const = default;
};
struct MidiSettings {
    std::string system{"auto"}; // auto, jack, alsa, none, and what else RtMidi was compiled with
    std::string client{"bowarm"};
    std::vector<InputSettings> inputs;
    std::vector<OutputSettings> outputs{1}; // at least one
};
// One of the players.
struct PlayerSettings {
    PlayerConfig config;
    Part part;                             // what it hears
    std::size_t output{0};                 // of midi.outputs
    std::filesystem::path instrument_file; // what the configuration led to
    std::filesystem::path target_file;
};
struct TakeSettings {
    bool keep{true};
    std::filesystem::path folder;       // empty: $XDG_STATE_HOME/bowarm/takes
    Seconds silence{20};                // a take ends after this long without a note
    std::uint64_t keep_at_most{0};      // takes; 0: all
    std::uint64_t megabytes_at_most{0}; // of all takes; 0: no limit
};
struct Settings {
    std::filesystem::path file;            // the configuration that was read
    std::filesystem::path instrument_file; // and the two it led to, for the first player
    std::filesystem::path target_file;
    MidiSettings midi;
    std::vector<PlayerSettings> players; // at least one
    PlayerConfig player;                 // the first of them: the one that replay and soundcheck play
    LampSettings lamps;
    std::vector<TempoStep> tempo_map; // where time code stands in the music; empty: unknown
    TakeSettings take;
    std::filesystem::path socket;     // empty: $XDG_RUNTIME_DIR/bowarm/status.sock
    std::filesystem::path token_file; // empty: beside the socket
    std::uint16_t tcp_port{0};        // 0: no status over TCP
    std::string log_level{"info"};
};

std::vector<PlayerConfig> configs_of(const Settings& settings);

// The files of one player, by their paths.
struct FilesOfPlayer {
    std::string instrument, target;
};

struct Overrides {
    std::optional<std::string> instrument; // a name in instruments/, or a path to a .toml file
    std::optional<std::string> target;     // a name in targets/, or a path to a .toml file
    bool without_map{false};               // a song's file is not read: an old take does not need it, and it may be gone
    std::vector<FilesOfPlayer> players{};  // stronger than the two above, player by player
};

using Loaded = std::variant<Settings, std::vector<Problem>>;

// Instruments and targets are looked for beside the configuration file (instruments/, targets/), then in the data folder.
Loaded load_configuration(const std::filesystem::path& file, const Overrides& overrides);

// The same of a text at hand, as if it stood in that file.
Loaded load_configuration_text(const std::filesystem::path& file, std::string text, const Overrides& overrides);

// The one that configuration_path finds when none was asked for; a missing file is then said to be the first thing to make.
Loaded load_usual_configuration(const Overrides& overrides);

// --config, else $XDG_CONFIG_HOME/bowarm/bowarm.toml, else the packaged default.
std::filesystem::path configuration_path(const std::optional<std::string>& asked);

// Where the person's own copy is kept, for a packaged one is never written to: --config, else the person's; empty: there is no home.
std::filesystem::path own_configuration_path(const std::optional<std::string>& asked);

} // namespace bowarm
