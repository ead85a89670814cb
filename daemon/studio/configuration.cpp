#include "studio/configuration.hpp"

#include "midi/ports/port_names.hpp"
#include "studio/controls_section.hpp"
#include "studio/folders.hpp"
#include "studio/key_rows.hpp"
#include "studio/lamps_section.hpp"
#include "studio/lines.hpp"
#include "studio/nearest_word.hpp"
#include "studio/players_section.hpp"
#include "studio/song_map.hpp"
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
    {section("output", Absent{}, "where the samplers listen")},
    {section("player", Absent{}, "the arms and their instruments")},
    {section("time", Absent{}, "tempo and meter")},
    {section("controls", Absent{}, "keys, pedals and controllers")},
    {section("vibrato", Absent{}, "the person's vibrato, where the arm is to shape it")},
    {section("lamps", Absent{}, "what the hands are told")},
    {section("take", Absent{}, "keeping what was played")},
    {section("status", Absent{}, "the status socket")},
    {section("log", Absent{}, "what is told on the way")},
};

std::optional<Complaint> put_wishes(std::vector<std::string>& into, const std::vector<std::string>& wishes)
{
    into = wishes;
    for (const std::string& wish : wishes)
        if (const std::string trouble = trouble_with(wish); !trouble.empty())
            return Complaint{shown(wish) + ": " + trouble, "write a POSIX extended expression behind re:, or a part of a name"};
    return std::nullopt;
}

constexpr KeyRow<MidiSettings> midi_rows[] = {
    {word("system", "auto|jack|alsa|core|none", "auto", "the MIDI system to use"),
     [](MidiSettings& m, const Given& g) { m.system = g.text; }},
    {port_name("client", "bowarm", "the name others see"), [](MidiSettings& m, const Given& g) { m.client = g.text; }},
};
constexpr KeyRow<InputSettings> input_rows[] = {
    {port_name("name", Needed{}, "the name of this input"), [](InputSettings& i, const Given& g) { i.name = g.text; }},
    {flag("virtual", true, "others may connect to it"), [](InputSettings& i, const Given& g) { i.virtual_port = g.flag; }},
    {texts("connect", 64, "ports to connect to"), [](InputSettings& i, const Given& g) { return put_wishes(i.connect, g.texts); }},
    {flag("optional", true, "false: the service ends when nothing matches at the start"),
     [](InputSettings& i, const Given& g) { i.optional = g.flag; }},
    {word("role", "all|playing|controllers|time", "all", "what of it is heard"),
     [](InputSettings& i, const Given& g) { i.filter.role = static_cast<InputRole>(g.word); }},
    {whole("channel", 1, 16, Absent{}, "the only channel of it that is heard; all when absent"),
     [](InputSettings& i, const Given& g) { i.filter.channel = Channel::from(g.whole - 1); }},
};
constexpr KeyRow<OutputSettings> output_rows[] = {
    {port_name("name", "sampler", "the name of the output"), [](OutputSettings& o, const Given& g) { o.name = g.text; }},
    {flag("virtual", true, "others may connect to it"), [](OutputSettings& o, const Given& g) { o.virtual_port = g.flag; }},
    {texts("connect", 64, "ports to connect to"), [](OutputSettings& o, const Given& g) { return put_wishes(o.connect, g.texts); }},
    {word("cable", "free|din", "free", "what carries it: as fast as need be, or a five-pin DIN cable"),
     [](OutputSettings& o, const Given& g) { o.cable = static_cast<Cable>(g.word); }},
    {flag("optional", true, "false: the service ends when nothing matches at the start"),
     [](OutputSettings& o, const Given& g) { o.optional = g.flag; }},
    {flag("marked", false, "it says that its stream has been through the arm"),
     [](OutputSettings& o, const Given& g) { o.marked = g.flag; }},
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
struct TimeText {
    PlayerConfig* player{nullptr};
    std::string map;
};
constexpr KeyRow<TimeText> time_rows[] = {
    {number("tempo", 10, 400, Absent{}, "quarter notes a minute when nothing else tells"),
     [](TimeText& t, const Given& g) { t.player->tempo = g.number; }},
    {text("meter", 10, Absent{}, "the meter when nothing else tells"),
     [](TimeText& t, const Given& g) { return put_meter(*t.player, g.text); }},
    {text("map", 4000, Absent{}, "a MIDI file whose tempos say where time code stands in the music"),
     [](TimeText& t, const Given& g) { t.map = g.text; }},
};

void read_time(const Section& section, const fs::path& folder, bool without_map, PlayerConfig& player, std::vector<TempoStep>& map)
{
    TimeText text;
    text.player = &player;
    read_rows(section, time_rows, text);
    if (player.tempo > 0) map = {TempoStep{0, 0, player.tempo / 60}};
    if (text.map.empty() || without_map) return;
    auto read = song_map_of(resolved(text.map, folder));
    if (const auto* trouble = std::get_if<std::string>(&read))
        section.complain("map", *trouble, "name a Standard MIDI File with the song's tempos");
    else
        map = std::get<std::vector<TempoStep>>(std::move(read));
}

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

void read_outputs(const Section& top, std::vector<OutputSettings>& outputs)
{
    outputs.clear();
    for (const Section& section : top.one_or_more("output", outs_at_most)) {
        OutputSettings output;
        read_rows(section, output_rows, output);
        const auto has_name = [&](const OutputSettings& other) { return other.name == output.name; };
        if (std::any_of(outputs.begin(), outputs.end(), has_name))
            section.complain("name", "another output has this name", "name each one differently");
        if (!output.virtual_port && output.connect.empty())
            section.complain("virtual", "neither virtual nor connected", "set virtual = true, or list ports in connect");
        outputs.push_back(std::move(output));
    }
    if (outputs.empty()) outputs.emplace_back().name = "sampler";
}

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
    if (!top.has("input")) midi.inputs.push_back({"keys", true, {}, true, {}});
    read_outputs(top, midi.outputs);
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
    PlayerConfig common; // what holds for every player
    if (const auto section = top.table("time"))
        read_time(*section, fs::absolute(path).parent_path(), overrides.without_map, common, settings.tempo_map);
    common.controls = default_controls();
    const auto controls = top.table("controls");
    if (controls) read_controls(*controls, common.controls);
    if (const auto section = top.table("vibrato")) read_vibrato(*section, common);
    if (const auto section = top.table("lamps")) settings.lamps = read_lamps(*section, settings.midi);
    read_places(top, fs::absolute(path).parent_path(), settings); // the service may work from another folder
    read_players(top, {folder, overrides, common, controls}, settings);
    if (controls) refuse_missing_players(*controls, settings.players.size());
    if (!problems.empty()) return problems;
    return settings;
}

} // namespace

std::vector<PlayerConfig> configs_of(const Settings& settings)
{
    std::vector<PlayerConfig> configs;
    for (const PlayerSettings& player : settings.players) configs.push_back(player.config);
    return configs;
}

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

fs::path own_configuration_path(const std::optional<std::string>& asked)
{
    if (asked) return *asked;
    const fs::path own = config_home() / "bowarm" / "bowarm.toml";
    return own.is_absolute() ? own : fs::path{};
}

} // namespace bowarm
