#include "commands/ports.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "midi/ports/library_lines.hpp"
#include "midi/ports/port_names.hpp"
#include "midi/ports/systems.hpp"
#include "studio/configuration.hpp"

#include <algorithm>
#include <future>
#include <iostream>
#include <optional>
#include <thread>
#include <unistd.h>

namespace bowarm
{
namespace
{

using Names = std::vector<std::string>;

struct Seen {
    std::string system, version;
    bool there{false};
    Names sources, destinations;
};

Seen look(const std::string& system, const std::string& client)
{
    Seen seen{system, {}, false, {}, {}};
    const auto opened = open_system(system, client, std::make_shared<Wakeup>());
    if (!opened) return seen;
    seen.there = true;
    seen.version = opened->version();
    seen.sources = opened->sources();
    seen.destinations = opened->destinations();
    return seen;
}

// A stopped server would hold us for ever.
std::optional<Seen> look_with_deadline(const std::string& system, const std::string& client)
{
    std::promise<Seen> promise;
    std::future<Seen> future = promise.get_future();
    std::thread{[promise = std::move(promise), system, client]() mutable { promise.set_value(look(system, client)); }}.detach();
    if (future.wait_for(std::chrono::seconds(3)) != std::future_status::ready) return std::nullopt;
    return future.get();
}

bool means(const Names& wishes, const std::string& name, const Names& all)
{
    return std::any_of(wishes.begin(), wishes.end(), [&](const std::string& wish) {
        const Names found = chosen(wish, all);
        return std::find(found.begin(), found.end(), name) != found.end();
    });
}

void print_ports(const char* title, const Names& names, const auto& entry_of)
{
    std::cout << "  " << title << (names.empty() ? " none" : "") << "\n";
    for (const std::string& name : names) {
        const std::string entry = entry_of(name);
        std::cout << "    \"" << without_numbers(name) << "\"" << (entry.empty() ? "" : "   <- " + entry) << "\n";
    }
}

// Wishes that nothing here fulfils.
void print_waiting(const std::string& entry, const Names& wishes, const Names& all)
{
    for (const std::string& wish : wishes)
        if (chosen(wish, all).empty() && rivals(wish, all).empty())
            std::cout << "  " << entry << " waits for \"" << wish << "\": nothing here has that name\n";
}

// What is not guessed.
void print_rivals(const char* role, const std::string& name, const Names& wishes, const Names& all)
{
    for (const std::string& wish : wishes) {
        const Names several = rivals(wish, all);
        for (std::size_t i = 0; i < several.size(); ++i)
            std::cout << (i == 0 ? std::string{"  "} + role + " \"" + name + "\": \"" + wish + "\" may mean any of " : ", ") << several[i]
                      << (i + 1 == several.size() ? "; write more of the name\n" : "");
    }
}

void print(const Seen& seen, const MidiSettings& midi)
{
    std::cout << seen.system << (seen.version.empty() ? "" : " " + seen.version) << (seen.there ? "" : ": not running") << "\n";
    if (!seen.there) return;
    print_ports("to listen to:", seen.sources, [&](const std::string& name) {
        std::string entries;
        for (const InputSettings& input : midi.inputs)
            if (means(input.connect, name, seen.sources)) entries += (entries.empty() ? "input \"" : ", input \"") + input.name + "\"";
        return entries;
    });
    for (const InputSettings& input : midi.inputs) print_rivals("input", input.name, input.connect, seen.sources);
    for (const OutputSettings& output : midi.outputs) print_rivals("output", output.name, output.connect, seen.destinations);
    print_ports("to play to:", seen.destinations, [&](const std::string& name) {
        std::string entries;
        for (const OutputSettings& output : midi.outputs)
            if (means(output.connect, name, seen.destinations))
                entries += (entries.empty() ? "output \"" : ", output \"") + output.name + "\"";
        return entries;
    });
    for (const InputSettings& input : midi.inputs) print_waiting("input \"" + input.name + "\"", input.connect, seen.sources);
    for (const OutputSettings& output : midi.outputs) print_waiting("output \"" + output.name + "\"", output.connect, seen.destinations);
}

// Ports are shown also where the configuration is at fault; `check` is there to say how.  Whoever has none yet has come
// for the names to write into it.
MidiSettings midi_settings(const std::optional<std::string>& asked)
{
    const Loaded loaded = asked ? load_configuration(*asked, {}) : load_usual_configuration({});
    if (const auto* settings = std::get_if<Settings>(&loaded)) return settings->midi;
    const auto& problems = std::get<std::vector<Problem>>(loaded);
    if (asked && exit_code_of(problems) == exit_code::no_input) throw CommandFailure{exit_code::no_input, lines_of(problems)};
    if (exit_code_of(problems) != exit_code::no_input)
        std::cerr << "the configuration has problems, so no matches are shown; see `bowarmd check`\n";
    return {};
}

} // namespace

int ports_command(const Arguments& arguments)
{
    const MidiSettings midi = midi_settings(arguments.value("--config"));
    bool any = false, hanging = false;
    {
        const LibraryLines guard;
        for (const std::string& system : compiled_systems()) {
            const std::optional<Seen> seen = look_with_deadline(system, midi.client);
            if (!seen) {
                hanging = true;
                std::cout << system << ": does not answer\n";
                continue;
            }
            any = any || seen->there;
            print(*seen, midi);
        }
    }
    std::cout.flush();
    if (!any) std::cerr << "no MIDI system answers; start a JACK or PipeWire server, or plug in a MIDI device\n";
    const int code = any ? exit_code::fine : exit_code::unavailable;
    // The thread that hangs in the library cannot be ended any other way.
    if (hanging) ::_exit(code);
    return code;
}

} // namespace bowarm
