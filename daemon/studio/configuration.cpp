#include "studio/configuration.hpp"

#include "studio/controls_section.hpp"
#include "studio/folders.hpp"
#include "studio/instrument_file.hpp"
#include "studio/key_rows.hpp"
#include "studio/nearest_word.hpp"
#include "studio/target_file.hpp"
#include "studio/text_array.hpp"
#include "studio/toml_reader.hpp"
#include "studio/vibrato_section.hpp"

#include <algorithm>
#include <bit>
#include <charconv>
#include <system_error>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

constexpr std::size_t inputs_at_most = 16;
constexpr std::size_t socket_bytes_at_most = 107; // unix(7): sun_path holds 108 with its closing zero

constexpr int configuration_version = 1;

constexpr KeyRow<Settings> top_rows[] = {
    {whole("version", 1, 1000, Needed{}, "the version of this file's form, 1"),
     [](Settings&, const Given& g) -> std::optional<Complaint> {
         if (g.whole == configuration_version) return std::nullopt;
         return Complaint{"made for a later bowarmd", "this one knows version 1; take a newer one, or the configuration that came with it"};
     }},
    {section("midi", Absent{}, "the MIDI system")},
    {section("input", Absent{}, "where the person's playing comes in")},
    {section("output", Absent{}, "where the sampler listens")},
    {section("player", Absent{}, "the arm and its instrument")},
    {section("time", Absent{}, "tempo and meter")},
    {section("controls", Absent{}, "keys, pedals and controllers")},
    {section("vibrato", Absent{}, "the person's vibrato, where the arm is to shape it")},
    {section("take", Absent{}, "keeping what was played")},
    {section("status", Absent{}, "the status socket")},
    {section("log", Absent{}, "what is told on the way")},
};

constexpr KeyRow<MidiSettings> midi_rows[] = {
    {word("system", "auto|jack|alsa|core|none", "auto", "the MIDI system to use"),
     [](MidiSettings& m, const Given& g) { m.system = g.text; }},
    {port_name("client", "bowarm", "the name others see"), [](MidiSettings& m, const Given& g) { m.client = g.text; }},
};
constexpr KeyRow<InputSettings> input_rows[] = {
    {port_name("name", Needed{}, "the name of this input"), [](InputSettings& i, const Given& g) { i.name = g.text; }},
    {flag("virtual", true, "others may connect to it"), [](InputSettings& i, const Given& g) { i.virtual_port = g.flag; }},
    {texts("connect", 64, "ports to connect to"), [](InputSettings& i, const Given& g) { i.connect = g.texts; }},
    {flag("optional", true, "false: the service ends when nothing matches at the start"),
     [](InputSettings& i, const Given& g) { i.optional = g.flag; }},
};
constexpr KeyRow<OutputSettings> output_rows[] = {
    {port_name("name", "sampler", "the name of the output"), [](OutputSettings& o, const Given& g) { o.name = g.text; }},
    {flag("virtual", true, "others may connect to it"), [](OutputSettings& o, const Given& g) { o.virtual_port = g.flag; }},
    {texts("connect", 64, "ports to connect to"), [](OutputSettings& o, const Given& g) { o.connect = g.texts; }},
    {word("cable", "free|din", "free", "what carries it: as fast as need be, or a five-pin DIN cable"),
     [](OutputSettings& o, const Given& g) { o.cable = static_cast<Cable>(g.word); }},
    {flag("optional", true, "false: the service ends when nothing matches at the start"),
     [](OutputSettings& o, const Given& g) { o.optional = g.flag; }},
};

struct PlayerText {
    PlayerConfig* config;
    std::string instrument{"violin"};
    std::string target{"general-midi"};
};
constexpr KeyRow<PlayerText> player_rows[] = {
    {port_name("name", "solo", "the player's name"), [](PlayerText& p, const Given& g) { put_text(g.text, p.config->name); }},
    {text("instrument", 4000, "violin", "a name in instruments/, or a path"), [](PlayerText& p, const Given& g) { p.instrument = g.text; }},
    {text("target", 4000, "general-midi", "a name in targets/, or a path"), [](PlayerText& p, const Given& g) { p.target = g.text; }},
    {number("chord_window_s", 0, 0.08, 0.03, "keys nearer than this join one stroke"),
     [](PlayerText& p, const Given& g) { p.config->chord_window = Seconds{g.number}; }},
    {number("chord_hold_s", 0, 0.025, 0.0, "the first note of a possible chord waits this long for the others"),
     [](PlayerText& p, const Given& g) { p.config->chord_hold = Seconds{g.number}; }},
    {number("chord_break_s", 0, 0.3, 0.08, "from a chord's lower notes to the two that stay; 0: all at once"),
     [](PlayerText& p, const Given& g) { p.config->chord_break = Seconds{g.number}; }},
    {flag("open_strings", false, "sustained notes, too, may be played on an open string"),
     [](PlayerText& p, const Given& g) { p.config->open_strings = g.flag; }},
    {whole("desks", 1, 4, 1.0, "players who share the notes of a part"),
     [](PlayerText& p, const Given& g) { p.config->desks = static_cast<std::uint8_t>(g.whole); }},
    {flag("desk_channels", false, "each desk on a channel of its own, counted up from the target's"),
     [](PlayerText& p, const Given& g) { p.config->desk_channels = g.flag; }},
    {number("delay_s", 0, 0.5, 0.0, "everything comes this much later: the arm knows what follows, and a slow sampler speaks in time"),
     [](PlayerText& p, const Given& g) { p.config->delay = Seconds{g.number}; }},
    {number("lift_after_s", 0.05, 10, 0.25, "a rest this long lets the bow be set down anew"),
     [](PlayerText& p, const Given& g) { p.config->lift_after = Seconds{g.number}; }},
    {word("out_of_range", "pass|drop|octave", "pass", "what happens to notes the instrument does not have"),
     [](PlayerText& p, const Given& g) { p.config->out_of_range = static_cast<OutOfRange>(g.word); }},
    {whole("tremolo_per_quarter", 0, 16, 0.0, "small strokes a quarter note where the tempo is known; 0: as fast as the hand shakes"),
     [](PlayerText& p, const Given& g) { p.config->tremolo_per_quarter = static_cast<std::uint8_t>(g.whole); }},
    {flag("soften", false, "play softer where an arm could not follow"),
     [](PlayerText& p, const Given& g) { p.config->soften_when_out_of_reach = g.flag; }},
};

std::optional<Complaint> put_meter(PlayerConfig& config, const std::string& written)
{
    const auto slash = written.find('/');
    unsigned beats = 0, unit = 0;
    const char* end = written.data() + written.size();
    const auto first = std::from_chars(written.data(), end, beats);
    const bool right = slash != std::string::npos && first.ec == std::errc{} && first.ptr == written.data() + slash && [&] {
        const auto second = std::from_chars(first.ptr + 1, end, unit);
        return second.ec == std::errc{} && second.ptr == end;
    }();
    if (!right || beats < 1 || beats > 32 || unit > 32 || !std::has_single_bit(unit))
        return Complaint{"no meter", "write for instance \"4/4\": 1 to 32 beats of 1, 2, 4, 8, 16 or 32"};
    config.meter_beats = static_cast<std::uint8_t>(beats);
    config.meter_unit = static_cast<std::uint8_t>(std::countr_zero(unit));
    return std::nullopt;
}
constexpr KeyRow<PlayerConfig> time_rows[] = {
    {number("tempo", 10, 400, Absent{}, "quarter notes a minute when nothing else tells"),
     [](PlayerConfig& p, const Given& g) { p.tempo = g.number; }},
    {text("meter", 10, Absent{}, "the meter when nothing else tells"),
     [](PlayerConfig& p, const Given& g) { return put_meter(p, g.text); }},
};

// Paths are made whole by the caller, who knows the folder of the file.
constexpr KeyRow<TakeSettings> take_rows[] = {
    {flag("keep", true, "keep what was played"), [](TakeSettings& t, const Given& g) { t.keep = g.flag; }},
    {text("folder", 4000, Absent{}, "where takes are kept"), [](TakeSettings& t, const Given& g) { t.folder = g.text; }},
    {number("silence_s", 1, 3600, 20.0, "a take ends after this long without a note"),
     [](TakeSettings& t, const Given& g) { t.silence = Seconds{g.number}; }},
    {whole("keep_at_most", 0, 1'000'000, 0.0, "more takes than this are not kept, the oldest go first; 0: all are kept"),
     [](TakeSettings& t, const Given& g) { t.keep_at_most = static_cast<std::uint64_t>(g.whole); }},
    {whole("megabytes_at_most", 0, 1'000'000, 0.0, "all takes together; the oldest go first; 0: no limit"),
     [](TakeSettings& t, const Given& g) { t.megabytes_at_most = static_cast<std::uint64_t>(g.whole); }},
};
constexpr KeyRow<Settings> status_rows[] = {
    {text("socket", 4000, Absent{}, "the path of the status socket"), [](Settings& s, const Given& g) { s.socket = g.text; }},
    {whole("tcp_port", 1024, 65535, Absent{}, "status over TCP, too, on the loopback address; off when absent"),
     [](Settings& s, const Given& g) { s.tcp_port = static_cast<std::uint16_t>(g.whole); }},
    {text("token_file", 4000, Absent{}, "what a client over TCP has to know; beside the socket when absent"),
     [](Settings& s, const Given& g) { s.token_file = g.text; }},
};
constexpr KeyRow<Settings> log_rows[] = {
    {word("level", "debug|info|warning|error", "info", "the least that is told"),
     [](Settings& s, const Given& g) { s.log_level = g.text; }},
};

void read_ports(const Section& top, MidiSettings& midi)
{
    if (const auto section = top.table("midi")) read_rows(*section, midi_rows, midi);
    for (const Section& section : top.tables("input", inputs_at_most)) {
        InputSettings input;
        read_rows(section, input_rows, input);
        const bool known =
            std::any_of(midi.inputs.begin(), midi.inputs.end(), [&](const InputSettings& other) { return other.name == input.name; });
        if (known && section.has("name")) section.complain("name", "another input has this name", "name each one differently");
        if (!input.virtual_port && input.connect.empty())
            section.complain("virtual", "neither virtual nor connected", "set virtual = true, or list ports in connect");
        midi.inputs.push_back(std::move(input));
    }
    if (!top.has("input")) midi.inputs.push_back({"keys", true, {}, true});
    midi.output.name = "sampler";
    if (const auto section = top.table("output")) {
        read_rows(*section, output_rows, midi.output);
        if (!midi.output.virtual_port && midi.output.connect.empty())
            section->complain("virtual", "neither virtual nor connected", "set virtual = true, or list ports in connect");
    }
}

void read_places(const Section& top, const fs::path& folder, Settings& settings)
{
    if (const auto section = top.table("take")) {
        read_rows(*section, take_rows, settings.take);
        if (!settings.take.folder.empty()) settings.take.folder = resolved(settings.take.folder.string(), folder);
    }
    if (const auto section = top.table("status")) {
        read_rows(*section, status_rows, settings);
        if (!settings.socket.empty()) settings.socket = resolved(settings.socket.string(), folder);
        if (!settings.token_file.empty()) settings.token_file = resolved(settings.token_file.string(), folder);
        if (settings.socket.string().size() > socket_bytes_at_most)
            section->complain("socket", "longer than the " + std::to_string(socket_bytes_at_most) + " bytes a socket's path may have",
                              "choose a shorter path");
    }
    if (const auto section = top.table("log")) read_rows(*section, log_rows, settings);
}

// A channel for each desk has to be there, and to be free of techniques.
void refuse_desk_channels(const Section& section, const PlayerConfig& player)
{
    if (player.desks == 1 || !player.desk_channels) return;
    constexpr int channels = 16; // MIDI 1.0
    if (player.target.channel.get() + player.desks > channels)
        section.complain("desk_channels", "not enough channels above the target's", "give the target a lower channel, or have fewer desks");
    const auto& techniques = player.target.techniques;
    if (std::any_of(techniques.begin(), techniques.end(), [](const TechniqueWay& w) { return w.down.channel.has_value(); }))
        section.complain("desk_channels", "this target has techniques on channels of their own", "set desk_channels = false");
}

bool is_path(std::string_view name) { return name.find('/') != std::string_view::npos || name.ends_with(".toml"); }

// A choice of an instrument or a target: who made it, and from which folder its path counts.
struct Choice {
    std::string_view kind; // "instrument", "target"
    std::string name;
    bool from_command_line;
    const Section* section; // [player], where the file made the choice and has one
    const Section* top;
};

class Chooser
{
public:
    Chooser(fs::path folder, std::vector<Problem>& problems) : folder_(std::move(folder)), problems_(problems) {}

    std::optional<TomlFile> open(const Choice& choice)
    {
        const auto path = path_of(choice);
        if (!path) return std::nullopt;
        auto read = read_toml_file(*path);
        if (auto* found = std::get_if<Problem>(&read)) {
            problems_.push_back(std::move(*found));
            return std::nullopt;
        }
        return std::get<TomlFile>(std::move(read));
    }

private:
    std::optional<fs::path> path_of(const Choice& choice)
    {
        if (is_path(choice.name)) return resolved(choice.name, choice.from_command_line ? fs::path{} : folder_);
        std::vector<fs::path> folders{folder_ / (std::string{choice.kind} + "s")};
        for (const fs::path& data : data_folders()) folders.push_back(data / (std::string{choice.kind} + "s"));
        for (const fs::path& folder : folders) {
            std::error_code error;
            if (const fs::path path = folder / (choice.name + ".toml"); fs::exists(path, error)) return path;
        }
        complain(choice, folders);
        return std::nullopt;
    }

    void complain(const Choice& choice, const std::vector<fs::path>& folders)
    {
        const auto names = toml_names(folders);
        std::string remedy =
            names.empty() ? "none found in " + folders.front().string() + " nor in the data folder (BOWARM_DATA)" : "known: ";
        for (std::size_t i = 0; i < names.size(); ++i) remedy += (i == 0 ? "" : ", ") + names[i];
        const std::string what = "no " + std::string{choice.kind} + " named '" + shown(choice.name) + "'";
        if (choice.from_command_line) {
            problems_.push_back({"--" + std::string{choice.kind}, what, remedy});
        } else {
            (choice.section ? choice.section : choice.top)->complain(choice.section ? choice.kind : std::string_view{}, what, remedy);
        }
    }

    fs::path folder_;
    std::vector<Problem>& problems_;
};

} // namespace

namespace
{

Loaded load_read(TomlRead read, const fs::path& path, const Overrides& overrides)
{
    if (auto* found = std::get_if<Problem>(&read)) return std::vector{std::move(*found)};
    const TomlFile& file = std::get<TomlFile>(read);

    std::vector<Problem> problems;
    Findings findings{file, problems};
    const Section top{findings, file.root, ""};
    const fs::path folder = path.parent_path();

    Settings settings;
    settings.file = path;
    read_rows(top, top_rows, settings);
    read_ports(top, settings.midi);
    if (settings.midi.output.cable == Cable::din) settings.player.players_on_cable = 1;
    PlayerText player{&settings.player};
    put_text("solo", settings.player.name);
    const auto player_section = top.table("player");
    if (player_section) read_rows(*player_section, player_rows, player);
    if (const auto section = top.table("time")) read_rows(*section, time_rows, settings.player);
    settings.player.controls = default_controls();
    const auto controls = top.table("controls");
    if (controls) read_controls(*controls, settings.player.controls);
    if (const auto section = top.table("vibrato")) read_vibrato(*section, settings.player);
    read_places(top, fs::absolute(path).parent_path(), settings); // the service may work from another folder

    Chooser chooser{folder, problems};
    const Section* chosen_in = player_section ? &*player_section : nullptr;
    const auto instrument_file =
        chooser.open({"instrument", overrides.instrument.value_or(player.instrument), overrides.instrument.has_value(), chosen_in, &top});
    std::optional<Instrument> instrument;
    if (instrument_file) {
        instrument = instrument_of(*instrument_file, problems);
        settings.instrument_file = instrument_file->path;
    }
    if (instrument) {
        settings.player.instrument = *instrument;
        if (controls) {
            refuse_playable_keys(*controls, *instrument);
            refuse_missing_strings(*controls, *instrument);
        }
    }
    const auto target_file =
        chooser.open({"target", overrides.target.value_or(player.target), overrides.target.has_value(), chosen_in, &top});
    if (target_file) {
        if (const auto target = target_of(*target_file, instrument ? &*instrument : nullptr, problems)) settings.player.target = *target;
        settings.target_file = target_file->path;
    }
    if (player_section) refuse_desk_channels(*player_section, settings.player);
    if (!problems.empty()) return problems;
    return settings;
}

} // namespace

Loaded load_configuration(const fs::path& path, const Overrides& overrides) { return load_read(read_toml_file(path), path, overrides); }

Loaded load_configuration_text(const fs::path& path, std::string text, const Overrides& overrides)
{
    return load_read(read_toml_text(path, std::move(text)), path, overrides);
}

Loaded load_usual_configuration(const Overrides& overrides)
{
    const fs::path path = configuration_path(std::nullopt);
    std::error_code error;
    if (fs::exists(path, error) || error) return load_configuration(path, overrides);
    Problem none{path.string(), "no configuration yet", "copy config/ to " + path.parent_path().string() + ", or give --config FILE"};
    none.missing_file = true;
    return std::vector{std::move(none)};
}

fs::path configuration_path(const std::optional<std::string>& asked)
{
    if (asked) return *asked;
    const fs::path own = config_home() / "bowarm" / "bowarm.toml";
    std::error_code error;
    if (fs::exists(own, error)) return own;
    for (const fs::path& data : data_folders())
        if (const fs::path packaged = data / "bowarm.toml"; fs::exists(packaged, error)) return packaged;
    return own; // so that the message names the place where a person would put it
}

} // namespace bowarm
