#include "commands/soundcheck.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "commands/replay.hpp"
#include "midi/ports/library_lines.hpp"
#include "midi/ports/systems.hpp"
#include "studio/key_names.hpp"
#include "studio/logging.hpp"
#include "studio/nearest_word.hpp"
#include "studio/script_player.hpp"
#include "studio/soundcheck.hpp"
#include "studio/text_array.hpp"
#include "take/performance.hpp"
#include "take/take.hpp"
#include "take/words.hpp"

#include <array>
#include <csignal>
#include <iostream>
#include <string>
#include <vector>

namespace bowarm
{
namespace
{

volatile std::sig_atomic_t told_to_stop = 0;

constexpr Duration patience = milliseconds(60'000); // for somebody to connect

std::vector<Technique> techniques_from(const Arguments& arguments)
{
    const std::string asked = arguments.value("--technique").value_or("all");
    std::vector<Technique> all;
    for (int i = 0; i < technique_count; ++i) all.push_back(static_cast<Technique>(i));
    if (asked == "all") return all;
    if (const auto technique = technique_of_word(asked)) return {*technique};
    std::vector<std::string_view> known = technique_names();
    known.emplace_back("all");
    throw CommandFailure(exit_code::usage, "bowarmd soundcheck: no technique '" + shown(asked) + "'; " + suggestion(asked, known));
}

std::string clock_word(Time at)
{
    const std::int64_t seconds = at.ns / 1'000'000'000;
    const std::array<std::int64_t, 4> digits{seconds / 600 % 10, seconds / 60 % 10, seconds / 10 % 6, seconds % 10};
    std::string word = "00:00";
    for (std::size_t i = 0; i < digits.size(); ++i) word[i + i / 2] = static_cast<char>('0' + digits[i]);
    return word;
}

void say(const CheckedPhrase& phrase)
{
    std::string name{technique_word(phrase.wanted)};
    name.resize(21, ' ');
    std::cout << clock_word(phrase.at) << "  " << name << (phrase.arm_on ? "arm on" : "arm off");
    if (phrase.arm_on && phrase.played != phrase.wanted)
        std::cout << ", as " << technique_word(phrase.played) << ": the target has no sound of its own";
    std::cout << std::endl;
}

int into_file(const Settings& settings, const Soundcheck& check, const std::string& path)
{
    Player player{settings.player};
    Recorder take;
    perform(player, check.script, check.end, take);
    write_output(path, sent_as_midi_file(take));
    for (const CheckedPhrase& phrase : check.phrases) say(phrase);
    return exit_code::fine;
}

int live(const Settings& settings, const Soundcheck& check)
{
    std::cout
        << "Mind your ears: turn your headphones down before the first phrase, then up until it is comfortable.\n"
           "Each technique is played twice in its sound: with the arm off, your sampler hears the keys as they are; with the arm on,\n"
           "it is bowed.  When both sound wrong, the target file selects the wrong sound.  Ctrl-C stops.\n"
        << std::flush;
    std::signal(SIGPIPE, SIG_IGN);
    std::signal(SIGINT, [](int) { told_to_stop = 1; });
    std::signal(SIGTERM, [](int) { told_to_stop = 1; });
    std::size_t next = 0;
    ScriptWish wish{.settings = settings,
                    .script = check.script,
                    .open_system = [midi = settings.midi](
                                       std::shared_ptr<Wakeup> bell) { return open_system(midi.system, midi.client, std::move(bell)); },
                    .patience = patience,
                    .waiting =
                        [&] {
                            std::cout << "Nobody listens yet: connect your sampler to the output \""
                                      << settings.midi.outputs[settings.players.front().output].name << "\" of \"" << settings.midi.client
                                      << "\"" << std::endl;
                        },
                    .playing =
                        [&](Time now) {
                            for (; next < check.phrases.size() && check.phrases[next].at <= now; ++next) say(check.phrases[next]);
                        },
                    .stop = &told_to_stop};
    const LibraryLines guard;
    switch (play_script(std::move(wish))) {
    case ScriptOutcome::whole:
    case ScriptOutcome::stopped:
        return exit_code::fine;
    case ScriptOutcome::no_system:
        throw CommandFailure(exit_code::unavailable, "no MIDI system answers; start JACK or PipeWire, or write a file with --out FILE.mid");
    case ScriptOutcome::no_listener:
        throw CommandFailure(exit_code::unavailable, "nobody listens at the output \"" +
                                                         settings.midi.outputs[settings.players.front().output].name +
                                                         "\"; connect your sampler to it, or name it in connect = [...] under [output]");
    }
    return exit_code::internal;
}

} // namespace

int soundcheck_command(const Arguments& arguments)
{
    const std::vector<Technique> techniques = techniques_from(arguments);
    const Settings settings = settings_from(arguments);
    set_up_logging(arguments.has("--verbose") ? "debug" : "error");
    const Soundcheck check = soundcheck_of(settings.player, techniques);
    if (const auto file = arguments.value("--out")) return into_file(settings, check, *file);
    return live(settings, check);
}

} // namespace bowarm
