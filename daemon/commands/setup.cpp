#include "commands/setup.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "commands/replay.hpp"
#include "commands/terminal_talk.hpp"
#include "midi/ports/library_lines.hpp"
#include "midi/ports/systems.hpp"
#include "studio/folders.hpp"
#include "studio/logging.hpp"
#include "studio/nearest_word.hpp"
#include "studio/target_file.hpp"
#include "studio/text_array.hpp"
#include "studio/toml_reader.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <system_error>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

volatile std::sig_atomic_t told_to_stop = 0;

// What is read, and where the person's own copy is kept: a packaged configuration is never written to.
fs::path own_path(const Arguments& arguments)
{
    if (const auto asked = arguments.value("--config")) return *asked;
    const fs::path own = config_home() / "bowarm" / "bowarm.toml";
    if (!own.is_absolute())
        throw CommandFailure(exit_code::unavailable, "no place for a configuration: HOME is not set; give --config FILE");
    return own;
}

std::string text_of_file(const fs::path& path)
{
    TomlRead read = read_toml_file(path);
    if (const auto* problem = std::get_if<Problem>(&read)) throw CommandFailure(exit_code_of({*problem}), problem->line());
    return std::get<TomlFile>(std::move(read)).text;
}

void keep(const fs::path& path, const std::string& text)
{
    std::error_code error;
    if (path.has_parent_path()) fs::create_directories(path.parent_path(), error);
    write_output(path.string(), {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
    std::cout << "saved in " << path.string() << std::endl;
}

bool agreed(Talk& talk, const std::string& question)
{
    const std::string answer = ask_for_line(talk, question + "  Enter: yes   n: no", "");
    return answer.empty() || answer == "y" || answer == "yes";
}

void refuse(const std::vector<Problem>& problems)
{
    if (!problems.empty())
        throw CommandFailure(exit_code_of(problems), "nothing was saved, because the result would not be right:\n" + lines_of(problems));
}

// --- pedals and control keys

void show(Talk& talk, const ControlsWish& wish)
{
    talk.say("");
    talk.say("What will be written:");
    for (const auto& [key, value] : wish.values) talk.say("  " + key + " = " + value);
    for (const KeyWish& key : wish.keys) talk.say("  " + key_word(key.key.get()) + ": " + key.does);
    for (const ControllerWish& c : wish.controllers)
        talk.say("  controller " + std::to_string(c.number.get()) + ", " + std::to_string(c.from.get()) + " to " +
                 std::to_string(c.to.get()) + ": " + c.does);
}

void set_up_controls(Talk& talk, const Settings& settings, const fs::path& own)
{
    const ControlsWish wish = ask_for_controls(talk, settings.player.controls, settings.player.instrument);
    if (wish.empty()) {
        talk.say("nothing was changed");
        return;
    }
    show(talk, wish);
    if (!agreed(talk, "Save it in " + own.string() + "?")) throw Left{true};
    const ChangedText changed = with_controls(text_of_file(settings.file), wish);
    if (const auto* problem = std::get_if<Problem>(&changed))
        throw CommandFailure(exit_code::configuration, settings.file.string() + ": " + problem->line());
    const std::string& text = std::get<std::string>(changed);
    if (const Loaded loaded = load_configuration_text(own, text, {}); const auto* problems = std::get_if<std::vector<Problem>>(&loaded))
        refuse(*problems);
    keep(own, text);
}

// --- keyswitches

std::string target_name(Talk& talk, const Settings& settings)
{
    while (true) {
        const std::string now{text_of(settings.player.target.name)};
        const std::string name = ask_for_line(talk, "A NAME for the target file of your sampler: letters, digits, - and _.", "");
        const bool right = !name.empty() && name.size() < 40 && std::all_of(name.begin(), name.end(), [](char c) {
            return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
        });
        if (right) return name;
        talk.say("  '" + shown(name) + "' is no such name");
    }
}

void set_up_keyswitches(Talk& talk, const Settings& settings, const fs::path& own)
{
    const std::string name = target_name(talk, settings);
    const fs::path path = own.parent_path() / "targets" / (name + ".toml");
    std::error_code error;
    const fs::path base = fs::exists(path, error) ? path : settings.target_file;
    talk.say("  begun from " + base.string());
    const std::vector<KeyswitchWish> wishes = ask_for_keyswitches(talk, settings.player.instrument);
    if (wishes.empty()) {
        talk.say("nothing was changed");
        return;
    }
    talk.say("");
    talk.say("What will be written:");
    for (const KeyswitchWish& wish : wishes)
        talk.say("  " + std::string{technique_word(wish.technique)} + ": " + key_word(wish.key.get()) +
                 (wish.up ? ", up-bow " + key_word(wish.up->get()) : ""));
    if (!agreed(talk, "Save it in " + path.string() + "?")) throw Left{true};
    const std::string text = with_keyswitches(text_of_file(base), name, wishes);
    TomlRead read = read_toml_text(path, text);
    if (const auto* problem = std::get_if<Problem>(&read)) refuse({*problem});
    std::vector<Problem> problems;
    target_of(std::get<TomlFile>(read), &settings.player.instrument, problems);
    refuse(problems);
    keep(path, text);
    std::cout << "write  target = \"" << name << "\"  under [player] in " << own.string() << " to play it" << std::endl;
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
            set_up_keyswitches(talk, settings, own);
        } else {
            set_up_controls(talk, settings, own);
        }
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
