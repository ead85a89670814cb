#include "studio/setup_flow.hpp"

#include "studio/nearest_word.hpp"
#include "studio/target_file.hpp"
#include "studio/text_array.hpp"
#include "studio/toml_reader.hpp"
#include "take/take.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <system_error>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

constexpr int exit_cannot_create = 73;
constexpr int exit_configuration = 78;

std::string text_of_file(const fs::path& path)
{
    TomlRead read = read_toml_file(path);
    if (const auto* problem = std::get_if<Problem>(&read)) throw SetupFailure(exit_configuration, problem->line());
    return std::get<TomlFile>(std::move(read)).text;
}

void keep(Talk& talk, const fs::path& path, const std::string& text)
{
    std::error_code error;
    if (path.has_parent_path()) fs::create_directories(path.parent_path(), error);
    try {
        write_whole_file(path, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
    } catch (const std::system_error& trouble) {
        throw SetupFailure(exit_cannot_create, path.string() + ": cannot be written: " + trouble.code().message() +
                                                   "; choose a folder that is there and has room, and may be written");
    }
    talk.say("saved in " + path.string());
}

bool agreed(Talk& talk, const std::string& question)
{
    const std::string answer = ask_for_line(talk, question + "  Enter: yes   n: no", "");
    return answer.empty() || answer == "y" || answer == "yes";
}

void refuse(const std::vector<Problem>& problems)
{
    if (problems.empty()) return;
    std::string lines = "nothing was saved, because the result would not be right:";
    for (const Problem& problem : problems) lines.append("\n").append(problem.line());
    throw SetupFailure(exit_configuration, lines);
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
        throw SetupFailure(exit_configuration, settings.file.string() + ": " + problem->line());
    const std::string& text = std::get<std::string>(changed);
    if (const Loaded loaded = load_configuration_text(own, text, {}); const auto* problems = std::get_if<std::vector<Problem>>(&loaded))
        refuse(*problems);
    keep(talk, own, text);
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
    keep(talk, path, text);
    talk.say("write  target = \"" + name + "\"  under [player] in " + own.string() + " to play it");
}

} // namespace

void set_up(Talk& talk, SetupPart part, const Settings& settings, const fs::path& own)
{
    if (part == SetupPart::keyswitches)
        set_up_keyswitches(talk, settings, own);
    else
        set_up_controls(talk, settings, own);
}

} // namespace bowarm
