#include "studio/players_section.hpp"

#include "studio/controls_section.hpp"
#include "studio/folders.hpp"
#include "studio/instrument_file.hpp"
#include "studio/nearest_word.hpp"
#include "studio/target_file.hpp"
#include "studio/text_array.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <utility>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

struct PlayerText {
    PlayerConfig* config{nullptr};
    std::string instrument{"violin"};
    std::string target{"general-midi"};
    std::vector<std::string> inputs; // names; none: all
    std::string output;              // empty: the first
    std::optional<Channel> target_channel;
    Part part;
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
    {texts("inputs", inputs_at_most, "the inputs it hears; all when absent"), [](PlayerText& p, const Given& g) { p.inputs = g.texts; }},
    {whole("channel", 1, 16, Absent{}, "the only channel it hears; all when absent"),
     [](PlayerText& p, const Given& g) { p.part.channel = Channel::from(g.whole - 1); }},
    {key("split_from", Absent{}, "the lowest key it hears"), [](PlayerText& p, const Given& g) { p.part.from = Midi7::nearest(g.whole); }},
    {key("split_to", Absent{}, "the highest key it hears"), [](PlayerText& p, const Given& g) { p.part.to = Midi7::nearest(g.whole); }},
    {whole("transpose", -48, 48, 0.0, "semitones added to what is played"),
     [](PlayerText& p, const Given& g) { p.part.transpose = g.whole; }},
    {flag("under_hands", false, "it hears only while it is the player under the hands"),
     [](PlayerText& p, const Given& g) { p.part.under_hands = g.flag; }},
    {port_name("output", Absent{}, "the output it plays to; the first when absent"),
     [](PlayerText& p, const Given& g) { p.output = g.text; }},
    {whole("target_channel", 1, 16, Absent{}, "the channel it plays on, instead of its target's"),
     [](PlayerText& p, const Given& g) { p.target_channel = Channel::from(g.whole - 1); }},
};

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

// An instrument and a target as the files say, whichever players have them.
struct Pair {
    std::optional<Instrument> instrument;
    std::optional<TargetSpec> target;
    fs::path instrument_file, target_file;
};

class Reader
{
public:
    Reader(const Section& top, const PlayersSetting& setting, Settings& settings)
        : top_(top), setting_(setting), settings_(settings), chooser_(setting.folder, top.findings().problems())
    {
    }

    void add(const Section* section)
    {
        PlayerSettings player;
        player.config = setting_.common;
        PlayerText text;
        text.config = &player.config;
        put_text("solo", player.config.name);
        if (section) read_rows(*section, player_rows, text);
        player.part = text.part;
        const Pair& pair = pair_of(text, section);
        if (pair.instrument) player.config.instrument = *pair.instrument;
        if (pair.target) player.config.target = *pair.target;
        player.instrument_file = pair.instrument_file;
        player.target_file = pair.target_file;
        if (section) check(*section, text, player);
        settings_.players.push_back(std::move(player));
    }

private:
    // Who has asked for other files than the configuration's, for the player that is read now.
    Overrides asked() const
    {
        const Overrides& all = setting_.overrides;
        const std::size_t number = settings_.players.size();
        if (number >= all.players.size()) return all;
        return {all.players[number].instrument, all.players[number].target};
    }

    const Pair& pair_of(const PlayerText& text, const Section* section)
    {
        const Overrides asked = this->asked();
        const auto key = std::pair{asked.instrument.value_or(text.instrument), asked.target.value_or(text.target)};
        if (const auto known = pairs_.find(key); known != pairs_.end()) return known->second;
        std::vector<Problem>& problems = top_.findings().problems();
        Pair pair;
        if (const auto file = chooser_.open({"instrument", key.first, asked.instrument.has_value(), section, &top_})) {
            pair.instrument = instrument_of(*file, problems);
            pair.instrument_file = file->path;
        }
        if (pair.instrument && setting_.controls && checked_.insert(pair.instrument_file).second) {
            refuse_playable_keys(*setting_.controls, *pair.instrument);
            refuse_missing_strings(*setting_.controls, *pair.instrument);
        }
        if (const auto file = chooser_.open({"target", key.second, asked.target.has_value(), section, &top_})) {
            pair.target = target_of(*file, pair.instrument ? &*pair.instrument : nullptr, problems);
            pair.target_file = file->path;
        }
        return pairs_.emplace(key, std::move(pair)).first->second;
    }

    void check(const Section& section, const PlayerText& text, PlayerSettings& player)
    {
        refuse_twins(section, player.config);
        if (!(player.part.from <= player.part.to))
            section.complain(section.has("split_to") ? "split_to" : "split_from", "the split ends before it begins", "exchange them");
        player.part.inputs = text.inputs.empty() ? player.part.inputs : inputs_of(section, text.inputs);
        if (!text.output.empty()) player.output = output_of(section, text.output);
        if (text.target_channel) move_to(section, *text.target_channel, player.config.target);
        refuse_desk_channels(section, player.config);
    }

    void refuse_twins(const Section& section, const PlayerConfig& config)
    {
        const auto has_name = [&](const PlayerSettings& other) { return other.config.name == config.name; };
        if (std::any_of(settings_.players.begin(), settings_.players.end(), has_name))
            section.complain("name", "another player has this name", "name each one differently");
    }

    std::uint16_t inputs_of(const Section& section, const std::vector<std::string>& names)
    {
        std::uint16_t found = 0;
        std::vector<std::string_view> known;
        for (const InputSettings& input : settings_.midi.inputs) known.push_back(input.name);
        for (const std::string& name : names) {
            const auto at = std::find(known.begin(), known.end(), name);
            if (at == known.end())
                section.complain("inputs", "no input named '" + shown(name) + "'", suggestion(name, known));
            else
                found = static_cast<std::uint16_t>(found | 1U << (at - known.begin()));
        }
        return found;
    }

    std::size_t output_of(const Section& section, const std::string& name)
    {
        std::vector<std::string_view> known;
        for (const OutputSettings& output : settings_.midi.outputs) known.push_back(output.name);
        const auto at = std::find(known.begin(), known.end(), name);
        if (at != known.end()) return static_cast<std::size_t>(at - known.begin());
        section.complain("output", "no output named '" + shown(name) + "'", suggestion(name, known));
        return 0;
    }

    static void move_to(const Section& section, Channel channel, TargetSpec& target)
    {
        const auto has_channel = [](const TechniqueWay& w) { return w.down.channel || w.up.channel; };
        if (std::any_of(target.techniques.begin(), target.techniques.end(), has_channel)) {
            section.complain("target_channel", "this target has techniques on channels of their own",
                             "give the player an output of its own instead");
            return;
        }
        target.channel = channel;
        for (CurveWay& curve : target.curves) curve.controller.channel = channel;
    }

    const Section& top_;
    const PlayersSetting& setting_;
    Settings& settings_;
    Chooser chooser_;
    std::map<std::pair<std::string, std::string>, Pair> pairs_;
    std::set<fs::path> checked_;
};

// A cable is shared by all who play to its output.
void share_cables(Settings& settings)
{
    for (PlayerSettings& player : settings.players) {
        if (settings.midi.outputs[player.output].cable != Cable::din) continue;
        const auto beside = [&](const PlayerSettings& other) { return other.output == player.output; };
        player.config.players_on_cable = static_cast<int>(std::count_if(settings.players.begin(), settings.players.end(), beside));
    }
}

} // namespace

void read_players(const Section& top, const PlayersSetting& setting, Settings& settings)
{
    Reader reader{top, setting, settings};
    for (const Section& section : top.one_or_more("player", players_at_most)) reader.add(&section);
    if (settings.players.empty()) reader.add(nullptr);
    share_cables(settings);
    const PlayerSettings& first = settings.players.front();
    settings.player = first.config;
    settings.instrument_file = first.instrument_file;
    settings.target_file = first.target_file;
}

} // namespace bowarm
