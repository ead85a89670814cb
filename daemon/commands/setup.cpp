#include "commands/setup.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "commands/terminal_talk.hpp"
#include "midi/ports/library_lines.hpp"
#include "midi/ports/systems.hpp"
#include "studio/logging.hpp"
#include "studio/setup_flow.hpp"

#include <filesystem>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

volatile std::sig_atomic_t told_to_stop = 0;

fs::path own_path(const Arguments& arguments)
{
    fs::path own = own_configuration_path(arguments.value("--config"));
    if (own.empty()) throw CommandFailure(exit_code::unavailable, "no place for a configuration: HOME is not set; give --config FILE");
    return own;
}

std::string where_to_play(const ListeningPorts& ports)
{
    std::string text;
    for (const PortView::Port& port : ports.view().ports) {
        if (port.role != "in") continue;
        text += "Listening at the input \"" + port.name + "\"";
        for (const std::string& peer : port.connected) text += ", connected to " + peer;
        text += port.connected.empty() ? ": connect your keyboard to it.  " : ".  ";
    }
    return text;
}

int talk_it_over(ListeningPorts& ports, const Settings& settings, const fs::path& own)
{
    TerminalTalk talk{ports, told_to_stop};
    try {
        talk.say(where_to_play(ports));
        const std::string part =
            ask_for_line(talk, "What shall be set up?  Enter: pedals and control keys   k: the sampler's keyswitches   q: quit", "");
        if (part == "k") {
            talk.say("Mind your ears: what you play goes to the sampler; turn your headphones down first.");
            ports.send_on(true);
            set_up(talk, SetupPart::keyswitches, settings, own);
        } else {
            set_up(talk, SetupPart::controls, settings, own);
        }
    } catch (const SetupFailure& failure) {
        throw CommandFailure(failure.code(), failure.what());
    } catch (const Left& left) {
        if (!left.by_choice())
            throw CommandFailure(exit_code::usage,
                                 "bowarmd setup: no more answers can be read, and nothing was saved; run it in a terminal");
        talk.say("nothing was saved");
    }
    return exit_code::fine;
}

} // namespace

int setup_command(const Arguments& arguments)
{
    const Settings settings = settings_from(arguments);
    const fs::path own = own_path(arguments);
    set_up_logging(arguments.has("--verbose") ? "debug" : "error");
    std::signal(SIGPIPE, SIG_IGN);
    std::signal(SIGINT, [](int) { told_to_stop = 1; });
    std::signal(SIGTERM, [](int) { told_to_stop = 1; });
    const LibraryLines guard;
    ListeningPorts ports{settings.midi, [midi = settings.midi](std::shared_ptr<Wakeup> bell) {
                             return open_system(midi.system, midi.client, std::move(bell));
                         }};
    if (!ports.system_answers())
        throw CommandFailure(exit_code::unavailable,
                             "no MIDI system answers, so nothing can be heard; start JACK or PipeWire, or plug in a MIDI device");
    return talk_it_over(ports, settings, own);
}

} // namespace bowarm
