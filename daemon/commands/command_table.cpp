#include "commands/command_table.hpp"

#include "commands/check.hpp"
#include "commands/ports.hpp"
#include "commands/replay.hpp"
#include "commands/run.hpp"
#include "commands/setup.hpp"
#include "commands/soundcheck.hpp"

namespace bowarm
{
namespace
{

constexpr OptionRow config{"--config", "FILE", "the configuration to use instead of the person's own or the packaged one"};
constexpr OptionRow instrument{"--instrument", "NAME", "violin, viola, cello, double-bass or a .toml file, instead of the configured one"};
constexpr OptionRow target{"--target", "NAME", "a target's name or a .toml file, instead of the configured one"};
constexpr OptionRow verbose{"--verbose", "", "say more on stderr"};

constexpr OptionRow run_options[] = {
    config,
    instrument,
    target,
    {"--play", "FILE", "play this Standard MIDI File to the arm in real time, as if by hand"},
    {"--stay", "", "with --play: go on running when the file has ended"},
    {"--takes", "FOLDER", "keep takes here"},
    {"--as-root", "", "run as root all the same"},
    verbose,
};
constexpr OptionRow replay_options[] = {
    {"--out", "FILE", "the Standard MIDI File to write"},
    {"--report", "FILE", "the report to write, as JSON"},
    {"--wishes", "FILE", "what you ask of single strokes, one a line: 12:3 up, 20:1 retake, 14:1 same-bow, note 57 down"},
    {"--hindsight", "", "bow it again with the future known, and say what changed"},
    {"--compensate", "", "send each note so much earlier as the target says that it speaks late"},
    {"--bars", "RANGE", "with --hindsight: these bars alone (12 or 12-14), every other stroke as it was live"},
    config,
    instrument,
    target,
    verbose,
};
constexpr OptionRow setup_options[] = {config, verbose};
constexpr OptionRow soundcheck_options[] = {
    config,
    instrument,
    target,
    {"--technique", "NAME", "this technique alone, for instance spiccato; all when absent"},
    {"--out", "FILE", "write the Standard MIDI File that the target would get, and play nothing"},
    verbose,
};
constexpr OptionRow ports_options[] = {config};
constexpr OptionRow check_options[] = {config, instrument, target};

constexpr CommandRow run_row{"run", "", 0, 0, "run the service in the foreground", run_options, ""};
constexpr CommandRow replay_row{"replay", "IN", 1, 1, "bow a Standard MIDI File and write what would be sent", replay_options, "--out"};
constexpr CommandRow setup_row{"setup", "", 0, 0, "ask for your pedals and keys, listen, and write the configuration", setup_options, ""};
constexpr std::string_view soundcheck_summary = "play a phrase in each technique, the arm off, then on";
constexpr CommandRow soundcheck_row{"soundcheck", "", 0, 0, soundcheck_summary, soundcheck_options, ""};
constexpr CommandRow ports_row{"ports", "", 0, 0, "list the MIDI ports, under the names a configuration matches", ports_options, ""};
constexpr CommandRow check_row{"check", "", 0, 0, "check a configuration and say what would be used", check_options, ""};

constexpr Subcommand table[] = {
    {&run_row, run_command},     {&replay_row, replay_command}, {&setup_row, setup_command}, {&soundcheck_row, soundcheck_command},
    {&ports_row, ports_command}, {&check_row, check_command},
};

} // namespace

std::span<const Subcommand> commands() { return table; }

} // namespace bowarm
