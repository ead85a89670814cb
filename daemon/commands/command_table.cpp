#include "commands/command_table.hpp"

#include "commands/check.hpp"
#include "commands/ports.hpp"
#include "commands/replay.hpp"
#include "commands/run.hpp"
#include "commands/setup.hpp"
#include "commands/soundcheck.hpp"
#include "commands/takes.hpp"

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
    {"--report", "FILE", "the report to write: .json everything, .csv and .txt the warnings"},
    {"--report-form", "FORM", "json, csv or text, whatever the report's name ends in"},
    {"--fail-on", "WORD", "exit with 1 when there are warnings of this severity or a worse one: note, careful, cannot"},
    {"--chart", "FILE", "the bow drawn in time, with notes and warnings: .svg, a file a page, or .html"},
    {"--chart-bars", "RANGE", "with --chart: these bars alone (12 or 12-14)"},
    {"--wav", "FILE", "the sound file to write: strings of our own, bowed by the arm, with no sampler"},
    {"--sheet", "FILE", "a page for recording players over the mock-up: .html or .txt"},
    {"--wishes", "FILE",
     "what you ask of single strokes, one a line: 12:3 up, 20:1 retake, 14:1 same-bow, note 57 down; or a MusicXML part"},
    {"--wishes-part", "PART", "with --wishes of a score: this part, by its number or its name; the first when absent"},
    {"--wishes-staff", "NUMBER", "with --wishes of a score: this staff of the part, from the top"},
    {"--wishes-voice", "VOICE", "with --wishes of a score: this voice of the staff, as the score numbers it"},
    {"--part", "FILE", "the bowed part for a live player to write, as MusicXML; compressed where the name ends with .mxl"},
    {"--first-bar", "NUMBER", "with --part: the number printed at the first bar"},
    {"--rehearsal", "BARS", "with --part: rehearsal letters at these bars (9,25,41)"},
    {"--cue", "FILE", "with --part: another part of the piece, a Standard MIDI File, for cues after long rests"},
    {"--hindsight", "", "bow it again with the future known, and say what changed"},
    {"--alike", "FILE", "with --hindsight: another player's performance of the piece, bowed first and followed where it doubles this one"},
    {"--alike-instrument", "NAME", "with --alike: the other player's instrument; the same when absent"},
    {"--alike-wishes", "FILE", "with --alike: what is asked of the other player's strokes"},
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
constexpr OptionRow takes_options[] = {
    {"--takes", "FOLDER", "the folder of takes, instead of the configured one"},
    {"--player", "NAME",
     "of a take of several players this one alone (show, export, bow-again, join); bow-again bows all in turn without it"},
    {"--out", "FILE", "the Standard MIDI File to write (export, bow-again, join)"},
    {"--at", "BAR", "join: the first take up to this bar, the second from it on"},
    {"--bars", "RANGE", "bow-again: these bars alone (12 or 12-14), every other stroke as it was live"},
    {"--wishes", "FILE", "bow-again: what you ask of single strokes, as in replay; the options below are replay's, too"},
    {"--wishes-for", "NAME", "bow-again of several players, with --wishes: the player whose strokes are meant"},
    {"--wishes-part", "PART", "bow-again, with --wishes of a score: this part, by its number or its name; the first when absent"},
    {"--wishes-staff", "NUMBER", "bow-again, with --wishes of a score: this staff of the part, from the top"},
    {"--wishes-voice", "VOICE", "bow-again, with --wishes of a score: this voice of the staff, as the score numbers it"},
    {"--compensate", "", "bow-again: send each note so much earlier as the target says that it speaks late"},
    {"--report", "FILE", "bow-again: the report to write"},
    {"--report-form", "FORM", "bow-again: json, csv or text"},
    {"--fail-on", "WORD", "bow-again: exit with 1 for warnings from this severity on"},
    {"--chart", "FILE", "bow-again: the bow drawn in time, .svg or .html"},
    {"--chart-bars", "RANGE", "bow-again, with --chart: these bars alone"},
    {"--wav", "FILE", "bow-again: the sound file to write"},
    {"--sheet", "FILE", "bow-again: a page for recording players over the mock-up"},
    {"--part", "FILE", "bow-again: the bowed part, as MusicXML"},
    {"--first-bar", "NUMBER", "bow-again, with --part: the number printed at the first bar"},
    {"--rehearsal", "BARS", "bow-again, with --part: rehearsal letters at these bars"},
    {"--cue", "FILE", "bow-again, with --part: another part of the piece for cues"},
    config,
};
constexpr OptionRow recover_options[] = {
    {"--out", "FILE", "the Standard MIDI File to write: what was played and what was sent"},
    {"--player", "NAME", "of several players this one alone"},
    {"--report", "FILE", "the report to write, as JSON"},
};
constexpr OptionRow ports_options[] = {config};
constexpr OptionRow check_options[] = {config, instrument, target};

constexpr CommandRow run_row{"run", "", 0, 0, "run the service in the foreground", run_options, ""};
constexpr CommandRow replay_row{"replay", "IN", 1, 1, "bow a Standard MIDI File and write what would be sent", replay_options, ""};
constexpr CommandRow setup_row{"setup", "", 0, 0, "ask for your pedals and keys, listen, and write the configuration", setup_options, ""};
constexpr std::string_view takes_operands =
    "[list | show TAKE | export TAKE | delete TAKE... | keep TAKE | name TAKE NAME | bow-again TAKE | "
    "join TAKE TAKE]";
constexpr std::string_view takes_summary =
    "list, show, name, keep, export, delete, join kept takes, bow one again (TAKE: a name, a number, last)";
constexpr CommandRow takes_row{"takes", takes_operands, 0, 1000, takes_summary, takes_options, ""};
constexpr CommandRow recover_row{"recover",       "JOURNAL", 1, 1, "make a finished take of a journal that a crash left behind",
                                 recover_options, "--out"};
constexpr std::string_view soundcheck_summary = "play a phrase in each technique, the arm off, then on";
constexpr CommandRow soundcheck_row{"soundcheck", "", 0, 0, soundcheck_summary, soundcheck_options, ""};
constexpr CommandRow ports_row{"ports", "", 0, 0, "list the MIDI ports, under the names a configuration matches", ports_options, ""};
constexpr CommandRow check_row{"check", "", 0, 0, "check a configuration and say what would be used", check_options, ""};

constexpr Subcommand table[] = {
    {&run_row, run_command},     {&replay_row, replay_command},   {&setup_row, setup_command}, {&soundcheck_row, soundcheck_command},
    {&takes_row, takes_command}, {&recover_row, recover_command}, {&ports_row, ports_command}, {&check_row, check_command},
};

} // namespace

std::span<const Subcommand> commands() { return table; }

} // namespace bowarm
