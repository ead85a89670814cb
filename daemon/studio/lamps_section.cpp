#include "studio/lamps_section.hpp"

#include "studio/controller_names.hpp"
#include "studio/key_names.hpp"
#include "studio/nearest_word.hpp"

namespace bowarm
{
namespace
{

struct LampText {
    LampSettings settings;
    std::string output;
};

std::optional<Complaint> put_lamp(Lamp& into, const std::string& text)
{
    constexpr std::string_view note = "note ";
    if (text == "none") return into = {}, std::nullopt;
    if (text.starts_with(note)) {
        if (const auto key = key_of_name(text.substr(note.size()))) return into = {LampKind::note, *key}, std::nullopt;
    } else if (const auto control = person_control_of(text); control && control->kind == PersonController::control_change) {
        return into = {LampKind::control_change, control->number}, std::nullopt;
    }
    return Complaint{"no lamp", "write \"cc 20\", \"note C4\" or \"none\""};
}

constexpr KeyRow<LampText> rows[] = {
    {port_name("output", Needed{}, "the output where the lamps are"), [](LampText& l, const Given& g) { l.output = g.text; }},
    {whole("channel", 1, 16, 1.0, "their channel"), [](LampText& l, const Given& g) { l.settings.channel = *Channel::from(g.whole - 1); }},
    {text("hair_left", 30, "none", "how much hair is left in this direction"),
     [](LampText& l, const Given& g) { return put_lamp(l.settings.hair_left, g.text); }},
    {text("down", 30, "none", "lit while a down-bow sounds"),
     [](LampText& l, const Given& g) { return put_lamp(l.settings.down, g.text); }},
    {text("up", 30, "none", "lit while an up-bow sounds"), [](LampText& l, const Given& g) { return put_lamp(l.settings.up, g.text); }},
    {text("warning", 30, "none", "lit from a warning to the next stroke"),
     [](LampText& l, const Given& g) { return put_lamp(l.settings.warning, g.text); }},
};

} // namespace

LampSettings read_lamps(const Section& section, const MidiSettings& midi)
{
    LampText text;
    read_rows(section, rows, text);
    if (text.output.empty()) return {};
    std::vector<std::string_view> known;
    for (std::size_t i = 0; i < midi.outputs.size(); ++i) {
        known.push_back(midi.outputs[i].name);
        if (midi.outputs[i].name == text.output) text.settings.output = i;
    }
    if (!text.settings.output) section.complain("output", "no output named '" + shown(text.output) + "'", suggestion(text.output, known));
    return text.settings;
}

} // namespace bowarm
