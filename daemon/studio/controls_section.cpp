#include "studio/controls_section.hpp"

#include "hear/hands.hpp"
#include "studio/controller_names.hpp"
#include "studio/key_names.hpp"
#include "studio/nearest_word.hpp"
#include "studio/text_array.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <string>
#include <vector>

namespace bowarm
{
namespace
{

constexpr std::size_t control_keys_at_most = 128;
constexpr int sustain_pedal = 64; // MIDI 1.0, controller numbers

std::optional<Complaint> put_control(PersonControl& into, const std::string& text)
{
    const auto control = person_control_of(text);
    if (!control)
        return Complaint{"no controller to listen to",
                         "write \"cc 11\", \"channel pressure\" or \"none\"; bank, parameter and mode numbers are taken"};
    if (control->kind == PersonController::control_change && control->number.get() == sustain_pedal)
        return Complaint{"64 is the sustain pedal", "say what it does with sustain = \"...\""};
    into.kind = control->kind;
    into.number = control->number;
    return std::nullopt;
}

void put_range_end(Midi7& end, const Given& given) { end = Midi7::nearest(given.whole); }

constexpr KeyRow<Controls> rows[] = {
    {text("loudness", 30, "cc 11", "what says how loud"), [](Controls& c, const Given& g) { return put_control(c.loudness, g.text); }},
    {whole("loudness_from", 0, 127, 0.0, "what it sends at its softest"),
     [](Controls& c, const Given& g) { put_range_end(c.loudness.from, g); }},
    {whole("loudness_to", 0, 127, 127.0, "what it sends at its loudest; below loudness_from: a pedal turned round"),
     [](Controls& c, const Given& g) { put_range_end(c.loudness.to, g); }},
    {text("contact_point", 30, "none", "what moves the bow between fingerboard and bridge"),
     [](Controls& c, const Given& g) { return put_control(c.contact_point, g.text); }},
    {whole("contact_point_from", 0, 127, 0.0, "what it sends at the fingerboard"),
     [](Controls& c, const Given& g) { put_range_end(c.contact_point.from, g); }},
    {whole("contact_point_to", 0, 127, 127.0, "what it sends at the bridge"),
     [](Controls& c, const Given& g) { put_range_end(c.contact_point.to, g); }},
    {text("amount", 30, "none", "what says how far the arm goes"),
     [](Controls& c, const Given& g) { return put_control(c.amount, g.text); }},
    {word("sustain", "same bow|ignore|pass", "same bow", "what the sustain pedal does"),
     [](Controls& c, const Given& g) { c.sustain = static_cast<SustainMeaning>(g.word); }},
    {whole("channel", 1, 16, Absent{}, "the only channel listened to; all when absent"),
     [](Controls& c, const Given& g) { c.channel = Channel::from(g.whole - 1); }},
    {section("key", Absent{}, "keys that do something instead of sounding")},
    {section("controller", Absent{}, "controllers that do something")},
    {section("program", Absent{}, "program changes that do something")},
};

struct ActionWord {
    std::string_view word;
    ActionKind kind;
    ContactZone zone{ContactZone::ordinary};
};
constexpr ActionWord action_words[] = {
    {"read technique", ActionKind::read_technique},
    {"bypass", ActionKind::bypass},
    {"panic", ActionKind::panic},
    {"same bow", ActionKind::same_bow},
    {"alternate", ActionKind::alternate},
    {"next down", ActionKind::next_down},
    {"next up", ActionKind::next_up},
    {"retake", ActionKind::next_retake},
    {"tap beat", ActionKind::tap_beat},
    {"tap bar", ActionKind::tap_bar},
    {"down bows", ActionKind::down_bows},
    {"mute", ActionKind::mute},
    {"sul ponticello", ActionKind::contact_zone, ContactZone::sul_ponticello},
    {"ordinary", ActionKind::contact_zone, ContactZone::ordinary},
    {"sul tasto", ActionKind::contact_zone, ContactZone::sul_tasto},
    {"open strings", ActionKind::open_strings},
    {"take", ActionKind::take},
    {"keep take", ActionKind::keep_take},
    {"hear take", ActionKind::hear_take},
    {"next player", ActionKind::next_player},
    {"previous player", ActionKind::previous_player},
};

// "G" or "Bb" by the open string's letter, "1" to "6" counted from the highest, as players do.
std::optional<StringName> string_name_of(const std::string& text)
{
    if (text.size() == 1 && text[0] >= '1' && text[0] <= '6') return StringName{static_cast<std::uint8_t>(text[0] - '0'), 0};
    if (text.empty() || text.size() > 2 || text[0] < 'A' || text[0] > 'G') return std::nullopt;
    const auto key = key_of_name(text + "4");
    if (!key) return std::nullopt;
    return StringName{0, static_cast<std::uint8_t>(key->get() % 12)};
}

std::optional<int> whole_of(std::string_view text)
{
    int number = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
    if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
    return number;
}

std::optional<Complaint> put_action(Action& into, const std::string& text)
{
    constexpr std::string_view select = "technique ";
    if (text.starts_with(select)) {
        const std::string_view name = std::string_view{text}.substr(select.size());
        const auto technique = technique_of_word(name);
        if (!technique) return Complaint{"no technique '" + shown(name) + "'", suggestion(name, technique_names())};
        into = {ActionKind::select_technique, *technique, {}, {}};
        return std::nullopt;
    }
    constexpr std::string_view string = "string ";
    if (text.starts_with(string)) {
        const auto name = string_name_of(text.substr(string.size()));
        if (!name) return Complaint{"no string", "write its letter, \"string G\", or its number from the highest, \"string 4\""};
        into = {ActionKind::string, Technique::detache, {}, *name};
        return std::nullopt;
    }
    constexpr std::string_view player = "player ";
    if (text.starts_with(player)) {
        const auto number = whole_of(std::string_view{text}.substr(player.size()));
        if (!number || *number < 1 || *number > static_cast<int>(players_at_most))
            return Complaint{"no player", "write its number in the order of the file, \"player 1\""};
        into = {ActionKind::player, Technique::detache, {}, {}, static_cast<std::uint8_t>(*number - 1)};
        return std::nullopt;
    }
    for (const auto& action : action_words) {
        if (action.word != text) continue;
        into = {action.kind, Technique::detache, action.zone, {}};
        return std::nullopt;
    }
    std::vector<std::string_view> known{"technique NAME", "string NAME", "player NUMBER"};
    for (const auto& action : action_words) known.push_back(action.word);
    return Complaint{"no such action", suggestion(text, known)};
}

struct ControlKey {
    int key{0};
    Action action;
};
constexpr KeyRow<ControlKey> key_rows[] = {
    {key("key", Needed{}, "the key"), [](ControlKey& k, const Given& g) { k.key = g.whole; }},
    {text("does", 60, Needed{}, "what it does, for instance \"technique spiccato\""),
     [](ControlKey& k, const Given& g) { return put_action(k.action, g.text); }},
};

struct ProgramAction {
    int number{1};
    Action action;
};
constexpr KeyRow<ProgramAction> program_rows[] = {
    {whole("number", 1, 128, Needed{}, "the program, counted from 1"), [](ProgramAction& p, const Given& g) { p.number = g.whole; }},
    {text("does", 60, Needed{}, "what it does, for instance \"technique spiccato\""),
     [](ProgramAction& p, const Given& g) -> std::optional<Complaint> {
         if (const auto wrong = put_action(p.action, g.text)) return wrong;
         if (p.action.kind != ActionKind::same_bow && p.action.kind != ActionKind::down_bows) return std::nullopt;
         return Complaint{"lasts while it is held, and a program change is not held", "give it to a key or a controller"};
     }},
};

constexpr KeyRow<ControllerAction> controller_rows[] = {
    {whole("number", 0, 119, Needed{}, "the controller"),
     [](ControllerAction& c, const Given& g) -> std::optional<Complaint> {
         c.number = Midi7::nearest(g.whole);
         if (g.whole == sustain_pedal) return Complaint{"64 is the sustain pedal", "say what it does with sustain = \"...\" in [controls]"};
         if (is_reserved_controller(g.whole)) return Complaint{"has another meaning in MIDI 1.0", "take another controller"};
         return std::nullopt;
     }},
    {whole("from", 0, 127, 64.0, "lowest value that counts"), [](ControllerAction& c, const Given& g) { c.low = Midi7::nearest(g.whole); }},
    {whole("to", 0, 127, 127.0, "highest value that counts"),
     [](ControllerAction& c, const Given& g) { c.high = Midi7::nearest(g.whole); }},
    {text("does", 60, Needed{}, "what it does, for instance \"same bow\""),
     [](ControllerAction& c, const Given& g) { return put_action(c.action, g.text); }},
};

bool is_number(const PersonControl& control, Midi7 number)
{
    return control.kind == PersonController::control_change && control.number == number;
}

void read_keys(const Section& section, Controls& into)
{
    for (const Section& entry : section.tables("key", control_keys_at_most)) {
        ControlKey key;
        read_rows(entry, key_rows, key);
        Action& place = into.keys[static_cast<std::size_t>(key.key)];
        if (place.kind != ActionKind::none && entry.has("key")) entry.complain("key", "has an action already", "give each key once");
        place = key.action;
    }
}

void read_programs(const Section& section, Controls& into)
{
    for (const Section& entry : section.tables("program", into.programs.size())) {
        ProgramAction program;
        read_rows(entry, program_rows, program);
        Action& place = into.programs[static_cast<std::size_t>(program.number - 1)];
        if (place.kind != ActionKind::none && entry.has("number"))
            entry.complain("number", "has an action already", "give each program once");
        place = program.action;
    }
}

void read_controllers(const Section& section, Controls& into)
{
    for (const Section& entry : section.tables("controller", into.controllers.capacity())) {
        ControllerAction action;
        read_rows(entry, controller_rows, action);
        if (!(action.low <= action.high)) entry.complain(entry.has("to") ? "to" : "from", "from is above to", "exchange them");
        for (const PersonControl* control : {&into.loudness, &into.contact_point, &into.amount}) {
            if (entry.has("number") && is_number(*control, action.number))
                entry.complain("number", "this controller is loudness, contact_point or amount already", "take another one");
        }
        for (const ControllerAction& other : into.controllers) {
            if (!entry.has("number") || other.number != action.number || other.high < action.low || action.high < other.low) continue;
            entry.complain("from", "its values overlap those of an action before", "part the values 0 to 127 between them");
        }
        into.controllers.push_back(action);
    }
}

bool same(const PersonControl& a, const PersonControl& b)
{
    return a.kind != PersonController::none && a.kind == b.kind && (a.kind != PersonController::control_change || a.number == b.number);
}

// All of its way on one value would divide by nothing.
void refuse_empty_range(const Section& section, PersonControl& control, std::string_view key)
{
    if (control.from != control.to) return;
    section.complain(key, "the same as where the range begins", "say what the controller sends at each of its ends");
    control.from = PersonControl{}.from;
    control.to = PersonControl{}.to;
}

} // namespace

Controls default_controls()
{
    Controls out;
    out.loudness = *person_control_of("cc 11");
    return out;
}

void read_controls(const Section& section, Controls& into)
{
    read_rows(section, rows, into);
    refuse_empty_range(section, into.loudness, "loudness_to");
    refuse_empty_range(section, into.contact_point, "contact_point_to");
    constexpr const char* remedy = "give each purpose a controller of its own, or \"none\"";
    if (same(into.contact_point, into.loudness)) section.complain("contact_point", "the same controller as loudness", remedy);
    if (same(into.amount, into.loudness)) section.complain("amount", "the same controller as loudness", remedy);
    if (same(into.amount, into.contact_point)) section.complain("amount", "the same controller as contact_point", remedy);
    read_keys(section, into);
    read_controllers(section, into);
    read_programs(section, into);
}

void refuse_playable_keys(const Section& section, const Instrument& instrument)
{
    std::vector<Problem> told_before;
    Findings silent{section.findings().file(), told_before};
    for (const Section& entry : Section{silent, section.value(), section.name()}.tables("key", control_keys_at_most)) {
        const auto given = entry.read(key_rows[0].facts);
        if (!given) continue;
        const Midi7 key = Midi7::nearest(given->whole);
        if (key < instrument.lowest_key || key > instrument.highest_key) continue;
        Section{section.findings(), entry.value(), entry.name()}.complain(
            "key",
            key_word(key.get()) + " is a note of the " + std::string{text_of(instrument.name)} + " (" +
                key_word(instrument.lowest_key.get()) + " to " + key_word(instrument.highest_key.get()) + ")",
            "a control key cannot sound as well; take one outside the range");
    }
}

void refuse_missing_players(const Section& section, std::size_t players)
{
    std::vector<Problem> told_before;
    Findings silent{section.findings().file(), told_before};
    const Section quiet{silent, section.value(), section.name()};
    for (const char* kind : {"key", "controller", "program"}) {
        for (const Section& entry : quiet.tables(kind, control_keys_at_most)) {
            const auto given = entry.read(key_rows[1].facts);
            Action action;
            if (!given || put_action(action, given->text) || action.kind != ActionKind::player || action.player < players) continue;
            Section{section.findings(), entry.value(), entry.name()}.complain("does", "there are " + std::to_string(players) + " players",
                                                                              "name one of them by its number");
        }
    }
}

void refuse_missing_strings(const Section& section, const Instrument& instrument)
{
    const auto there_is = [&](const StringName& name) {
        if (name.number > 0) return name.number <= instrument.strings.size();
        return std::any_of(instrument.strings.begin(), instrument.strings.end(),
                           [&](const StringData& s) { return s.open_key.get() % 12 == name.pitch_class; });
    };
    std::vector<Problem> told_before;
    Findings silent{section.findings().file(), told_before};
    const Section quiet{silent, section.value(), section.name()};
    for (const char* kind : {"key", "controller"}) {
        for (const Section& entry : quiet.tables(kind, control_keys_at_most)) {
            const auto given = entry.read(key_rows[1].facts);
            Action action;
            if (!given || put_action(action, given->text) || action.kind != ActionKind::string || there_is(action.string)) continue;
            Section{section.findings(), entry.value(), entry.name()}.complain(
                "does", "the " + std::string{text_of(instrument.name)} + " has no such string", "name one that it has");
        }
    }
}

} // namespace bowarm
