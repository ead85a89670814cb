#include "commands/check.hpp"

#include "commands/exit_codes.hpp"
#include "player/delays.hpp"
#include "studio/text_array.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <iostream>

namespace bowarm
{
namespace
{

std::string listed(const std::vector<std::string>& names)
{
    std::string out;
    for (const auto& name : names) {
        if (!out.empty()) out += ", ";
        out += name;
    }
    return out;
}

std::string port_line(const std::string& name, bool is_virtual, const std::vector<std::string>& connect, bool optional)
{
    std::string line = name + (is_virtual ? ", virtual" : "");
    if (!connect.empty()) line += ", connects to " + listed(connect) + (optional ? ", waits for it" : ", must be there");
    return line;
}

std::string milliseconds_text(Duration d) { return std::to_string((d.ns + 500'000) / 1'000'000) + " ms"; }

std::string delay_line(const PlayerConfig& player)
{
    const Delays delays = delays_of(player);
    const Duration speaks = to_duration(time_ahead(player.target));
    std::string line = delays.total() > Duration{0} ? milliseconds_text(delays.total()) : "none";
    if (delays.foresees) line += ", the arm knows " + milliseconds_text(delays.hold) + " ahead";
    if (speaks > Duration{0}) line += ", the target speaks up to " + milliseconds_text(speaks) + " late";
    if (delays.early < speaks && player.delay > Seconds{0}) line += ", of which " + milliseconds_text(delays.early) + " are made up for";
    return line;
}

// What tells a player from the others.
std::string hearing_line(const PlayerSettings& player, const MidiSettings& midi)
{
    std::string line = "hears ";
    std::vector<std::string> inputs;
    for (std::size_t i = 0; i < midi.inputs.size(); ++i)
        if ((player.part.inputs >> i & 1U) != 0) inputs.push_back(midi.inputs[i].name);
    line += inputs.empty() ? "nothing" : listed(inputs);
    if (player.part.channel) line += ", channel " + std::to_string(player.part.channel->get() + 1);
    if (player.part.from.get() > 0 || player.part.to.get() < 127)
        line += ", " + key_word(player.part.from.get()) + " to " + key_word(player.part.to.get());
    if (player.part.transpose != 0) line += ", transposed by " + std::to_string(player.part.transpose);
    if (player.part.under_hands) line += ", while under the hands";
    return line + "; plays to " + midi.outputs[player.output].name + ", channel " + std::to_string(player.config.target.channel.get() + 1);
}

void tell_players(const Settings& settings)
{
    for (const PlayerSettings& player : settings.players) {
        if (settings.players.size() > 1)
            std::cout << "player         " << text_of(player.config.name) << ": " << hearing_line(player, settings.midi) << "\n";
        std::cout << "instrument     " << text_of(player.config.instrument.name) << ", " << player.instrument_file.string() << "\n"
                  << "target         " << text_of(player.config.target.name) << ", " << player.target_file.string() << "\n"
                  << "delay          " << delay_line(player.config) << "\n";
    }
}

void tell(const Settings& settings)
{
    std::cout << "configuration  " << settings.file.string() << "\n";
    tell_players(settings);
    std::cout << "midi           " << settings.midi.system << ", as " << settings.midi.client << "\n";
    for (const InputSettings& input : settings.midi.inputs)
        std::cout << "input          " << port_line(input.name, input.virtual_port, input.connect, input.optional) << "\n";
    for (const OutputSettings& output : settings.midi.outputs)
        std::cout << "output         " << port_line(output.name, output.virtual_port, output.connect, output.optional)
                  << (output.cable == Cable::din ? ", a DIN cable of 31250 baud" : "") << "\n";
    std::cout << "takes          "
              << (!settings.take.keep            ? "not kept"
                  : settings.take.folder.empty() ? "$XDG_STATE_HOME/bowarm/takes"
                                                 : settings.take.folder.string())
              << "\n"
              << "status         " << (settings.socket.empty() ? "$XDG_RUNTIME_DIR/bowarm/status.sock" : settings.socket.string());
    if (settings.tcp_port != 0)
        std::cout << ", and 127.0.0.1:" << settings.tcp_port << " for those who know "
                  << (settings.token_file.empty() ? "the token beside it" : settings.token_file.string());
    std::cout << "\n"
              << "log            " << settings.log_level << "\n"
              << "no problem\n";
}

} // namespace

std::string lines_of(const std::vector<Problem>& problems)
{
    std::string out;
    for (const Problem& problem : problems) {
        if (!out.empty()) out += '\n';
        out += problem.line();
    }
    return out;
}

int exit_code_of(const std::vector<Problem>& problems)
{
    const bool only_missing = std::all_of(problems.begin(), problems.end(), [](const Problem& problem) { return problem.missing_file; });
    return only_missing ? exit_code::no_input : exit_code::configuration;
}

namespace
{

Loaded load(const Arguments& arguments, const Overrides& overrides)
{
    const auto asked = arguments.value("--config");
    return asked ? load_configuration(*asked, overrides) : load_usual_configuration(overrides);
}

Settings settings_or_failure(Loaded loaded)
{
    if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded))
        throw CommandFailure{exit_code_of(*problems), lines_of(*problems)};
    return std::get<Settings>(std::move(loaded));
}

} // namespace

Loaded load_as_asked(const Arguments& arguments) { return load(arguments, {arguments.value("--instrument"), arguments.value("--target")}); }

Settings settings_from(const Arguments& arguments) { return settings_or_failure(load_as_asked(arguments)); }

Settings settings_for(const Arguments& arguments, const std::string& instrument)
{
    return settings_or_failure(load(arguments, {instrument, arguments.value("--target")}));
}

int check_command(const Arguments& arguments)
{
    tell(settings_from(arguments));
    return exit_code::fine;
}

} // namespace bowarm
