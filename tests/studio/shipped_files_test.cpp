#include "bow/fingerboard.hpp"
#include "studio/files.hpp"
#include "studio/text_array.hpp"

#include <array>
#include <cmath>
#include <set>

using namespace bowarm;
using namespace studio_test;

namespace
{

constexpr const char* instruments[] = {"violin", "viola", "cello", "double-bass"};
constexpr const char* targets[] = {"general-midi",      "keyswitch-demo",        "held-keyswitches", "program-changes",
                                   "controller-ranges", "channel-per-technique", "physical-model",   "stand-in"};

Settings load(const std::string& instrument, const std::string& target)
{
    const Loaded loaded = load_configuration(shipped / "bowarm.toml", {instrument, target});
    CAPTURE(lines(problems_of(loaded)));
    REQUIRE(std::holds_alternative<Settings>(loaded));
    return std::get<Settings>(loaded);
}

const TechniqueWay& way(const Settings& settings, Technique technique)
{
    return settings.player.target.techniques[static_cast<std::size_t>(technique)];
}

// What the loader knows, as its own message lists it.
std::vector<std::string> known_keys(const std::vector<Problem>& problems)
{
    std::vector<std::string> out;
    for (const Problem& problem : problems) {
        std::string list = problem.remedy;
        if (!list.starts_with("known: ")) continue;
        list.erase(0, 7);
        for (std::size_t at = 0; at != std::string::npos;) {
            const auto comma = list.find(", ", at);
            out.push_back(list.substr(at, comma == std::string::npos ? comma : comma - at));
            at = comma == std::string::npos ? comma : comma + 2;
        }
    }
    return out;
}

} // namespace

TEST_CASE("every shipped instrument speaks to every shipped target, without a word")
{
    for (const char* instrument : instruments) {
        for (const char* target : targets) {
            CAPTURE(instrument);
            CAPTURE(target);
            const Settings settings = load(instrument, target);
            CHECK(text_of(settings.player.instrument.name) == instrument);
            CHECK(text_of(settings.player.target.name) == target);
            CHECK(settings.instrument_file == shipped / "instruments" / (std::string{instrument} + ".toml"));
            CHECK(settings.target_file == shipped / "targets" / (std::string{target} + ".toml"));
        }
    }
}

// Tunings and ranges: Prout, The Orchestra I (1899), p. 19 and public-domain orchestra primers for violin and bass; orchestration
// study notes and a composition primer for viola and cello.  C4 = 60.
TEST_CASE("tunings and ranges are the handbooks'")
{
    struct Row {
        const char* instrument;
        std::array<int, 4> open;
        int lowest, ordinary_top, stretched_top;
    };
    constexpr Row rows[] = {
        {"violin", {55, 62, 69, 76}, 55, 100, 107},
        {"viola", {48, 55, 62, 69}, 48, 88, 93},
        {"cello", {36, 43, 50, 57}, 36, 79, 88},
        {"double-bass", {28, 33, 38, 43}, 28, 57, 67},
    };
    for (const Row& row : rows) {
        CAPTURE(row.instrument);
        const Instrument i = load(row.instrument, "general-midi").player.instrument;
        REQUIRE(i.strings.size() == 4);
        for (std::size_t s = 0; s < 4; ++s) CHECK(i.strings[s].open_key.get() == row.open[s]);
        CHECK(i.lowest_key.get() == row.lowest);
        CHECK(i.highest_key.get() >= row.ordinary_top);
        CHECK(i.highest_key.get() <= row.stretched_top);
    }
}

// Z = T / (2 L f0), T within the string makers' bands (from memory), f0 in equal temperament at A4 = 440 Hz.
TEST_CASE("each string's impedance belongs to a tension that strings have")
{
    struct Row {
        const char* instrument;
        std::array<double, 4> tension_low, tension_high;
    };
    constexpr Row rows[] = {
        {"violin", {44, 38, 48, 72}, {48, 48, 56, 82}},
        {"viola", {47, 45, 48, 65}, {57, 55, 57, 80}},
        {"cello", {125, 125, 111, 150}, {140, 140, 140, 178}},
        {"double-bass", {260, 260, 255, 250}, {300, 300, 295, 300}},
    };
    for (const Row& row : rows) {
        CAPTURE(row.instrument);
        const Instrument i = load(row.instrument, "general-midi").player.instrument;
        for (std::size_t s = 0; s < 4; ++s) {
            CAPTURE(s);
            const double frequency = 440.0 * std::pow(2.0, (i.strings[s].open_key.get() - 69) / 12.0);
            const double tension = i.strings[s].impedance.value * 2 * i.string_length.value * frequency;
            CHECK(tension >= 0.98 * row.tension_low[s]); // Z has two figures
            CHECK(tension <= 1.02 * row.tension_high[s]);
        }
    }
}

// Schelleng, The bowed string and the player, J. Acoust. Soc. Am. 53 (1973): F_max = 2 Z v / (beta dmu),
// F_min = Z^2 v / (2 R beta^2 dmu).  The margins 1.2 and 0.8 are our own.
TEST_CASE("every row of dynamics lies inside Schelleng's window on every string")
{
    for (const char* name : instruments) {
        CAPTURE(name);
        const Instrument i = load(name, "general-midi").player.instrument;
        REQUIRE(i.dynamics.size() == 4);
        const double dmu = i.friction_difference, resistance = i.bridge_resistance.value;
        double level_before = 0;
        for (const DynamicRow& row : i.dynamics) {
            CAPTURE(row.loudness.value);
            const double v = row.speed.value, beta = row.beta.value;
            for (const StringData& string : i.strings) {
                const double z = string.impedance.value;
                CAPTURE(z);
                CHECK(row.force.value <= 0.8 * 2 * z * v / (beta * dmu));
                CHECK(row.force.value >= 1.2 * z * z * v / (2 * resistance * beta * beta * dmu));
            }
            // The level goes with v / beta (bridge force of Helmholtz motion), so louder rows have more of it.
            CHECK(v / beta > level_before);
            level_before = v / beta;
        }
    }
}

TEST_CASE("bows get shorter, heavier and slower from the violin down")
{
    Instrument before = load("violin", "general-midi").player.instrument;
    for (const char* name : {"viola", "cello", "double-bass"}) {
        CAPTURE(name);
        const Instrument i = load(name, "general-midi").player.instrument;
        CHECK(i.hair < before.hair);
        CHECK(i.bow_mass > before.bow_mass);
        CHECK(i.string_length > before.string_length);
        CHECK(i.tremolo_rate < before.tremolo_rate);
        CHECK(i.spiccato.high <= before.spiccato.high);
        before = i;
    }
}

// General MIDI level 1 program list, counted from 1: 41 Violin, 42 Viola, 43 Cello, 44 Contrabass, 45 Tremolo Strings,
// 46 Pizzicato Strings; the byte on the wire is one less.
TEST_CASE("General MIDI programs are the list's")
{
    struct Row {
        const char* instrument;
        int program;
    };
    for (const Row& row : {Row{"violin", 41}, Row{"viola", 42}, Row{"cello", 43}, Row{"double-bass", 44}}) {
        CAPTURE(row.instrument);
        const Settings settings = load(row.instrument, "general-midi");
        const auto program = [&](Technique technique) {
            const TechniqueWay& w = way(settings, technique);
            REQUIRE(w.down.steps.size() == 1);
            CHECK(w.down.steps[0].kind == SwitchKind::program);
            CHECK(w.up == w.down);
            CHECK(!w.down.steps[0].bank);
            return w.down.steps[0].number.get() + 1;
        };
        CHECK(program(Technique::detache) == row.program);
        CHECK(program(Technique::spiccato) == row.program);
        CHECK(program(Technique::tremolo) == 45);
        CHECK(program(Technique::pizzicato) == 46);
    }
}

// MIDI 1.0 controller numbers: 11 expression, 7 channel volume.
TEST_CASE("the General MIDI target moves expression with the bow and leaves the volume alone")
{
    const TargetSpec target = load("violin", "general-midi").player.target;
    REQUIRE(target.curves.size() == 2);
    CHECK(target.curves[0].controller.number.get() == 11);
    CHECK(target.curves[0].quantity == BowQuantity::loudness);
    REQUIRE(target.curves[0].mixed.size() == 1);
    CHECK(target.curves[0].mixed[0].quantity == BowQuantity::speed);
    CHECK(target.curves[0].mixed[0].depth > 0);
    CHECK(target.curves[1].controller.number.get() == 7);
    CHECK(target.curves[1].low == target.curves[1].high);
    CHECK(target.curves[1].initial == target.curves[1].low);
}

TEST_CASE("the keyswitches of the made-up sampler lie below every instrument and are pairs where it has pairs")
{
    const Settings settings = load("double-bass", "keyswitch-demo");
    std::set<int> keys;
    for (int i = 0; i < technique_count; ++i) {
        const TechniqueWay& w = settings.player.target.techniques[static_cast<std::size_t>(i)];
        if (!w.present) continue;
        for (const Switch& s : {w.down, w.up}) {
            REQUIRE(s.steps.size() == 1);
            CHECK(s.steps[0].kind == SwitchKind::keyswitch_latching);
            CHECK(s.steps[0].number.get() < 23); // B0, the fifth string of a bass
            keys.insert(s.steps[0].number.get());
        }
    }
    CHECK(keys.size() == 20); // eighteen techniques, two of them in pairs
    CHECK(way(settings, Technique::detache).down != way(settings, Technique::detache).up);
    CHECK(way(settings, Technique::marcato).down != way(settings, Technique::marcato).up);
    CHECK(way(settings, Technique::legato).down == way(settings, Technique::legato).up);
    CHECK(!way(settings, Technique::spiccato).sustains);
    CHECK(way(settings, Technique::spiccato).sounds_for.value == doctest::Approx(0.35));
    CHECK(way(settings, Technique::hooked).fallback == Technique::staccato);
}

TEST_CASE("the shipped configuration says what it says")
{
    const Settings settings = load("violin", "general-midi");
    REQUIRE(settings.midi.inputs.size() == 1);
    CHECK(settings.midi.inputs[0].name == "keys");
    CHECK(settings.midi.inputs[0].virtual_port);
    CHECK(settings.midi.outputs.front().name == "sampler");
    const Controls& controls = settings.player.controls;
    CHECK(controls.loudness.kind == PersonController::control_change);
    CHECK(controls.loudness.number.get() == 11);
    CHECK(controls.contact_point.kind == PersonController::none);
    CHECK(controls.sustain == SustainMeaning::same_bow);
    CHECK(!controls.channel);
    CHECK(controls.keys[12].kind == ActionKind::select_technique); // C0
    CHECK(controls.keys[12].technique == Technique::detache);
    CHECK(controls.keys[18].technique == Technique::pizzicato);
    CHECK(controls.keys[19].kind == ActionKind::read_technique);
    CHECK(controls.keys[21].kind == ActionKind::panic);
    CHECK(controls.keys[22].technique == Technique::ricochet);
    CHECK(controls.keys[23].kind == ActionKind::alternate);
    CHECK(controls.keys[24].kind == ActionKind::none);
    CHECK(settings.player.chord_window == Seconds{0.03});
    CHECK(settings.player.chord_hold == Seconds{0});
    CHECK(settings.player.meter_beats == 0);
}

TEST_CASE("the shipped file says what holds without it")
{
    const Folder folder;
    fs::create_directory_symlink(shipped / "instruments", folder.path() / "instruments");
    fs::create_directory_symlink(shipped / "targets", folder.path() / "targets");
    const Loaded loaded = load_configuration(folder.write("bowarm.toml", "version = 1\n"), {});
    REQUIRE(std::holds_alternative<Settings>(loaded));
    const Settings bare = std::get<Settings>(loaded);
    const Settings full = load("violin", "general-midi");
    CHECK(bare.midi.system == full.midi.system);
    CHECK(bare.midi.client == full.midi.client);
    REQUIRE(bare.midi.inputs.size() == full.midi.inputs.size());
    CHECK(bare.midi.inputs[0].name == full.midi.inputs[0].name);
    CHECK(bare.midi.inputs[0].virtual_port == full.midi.inputs[0].virtual_port);
    CHECK(bare.midi.outputs.front().name == full.midi.outputs.front().name);
    CHECK(text_of(bare.player.name) == text_of(full.player.name));
    CHECK(text_of(bare.player.instrument.name) == text_of(full.player.instrument.name));
    CHECK(text_of(bare.player.target.name) == text_of(full.player.target.name));
    CHECK(bare.player.chord_window == full.player.chord_window);
    CHECK(bare.player.chord_hold == full.player.chord_hold);
    CHECK(bare.player.delay == full.player.delay);
    CHECK(bare.player.players_on_cable == full.player.players_on_cable);
    CHECK(bare.player.lift_after == full.player.lift_after);
    CHECK(bare.player.out_of_range == full.player.out_of_range);
    CHECK(bare.player.controls.loudness.kind == full.player.controls.loudness.kind);
    CHECK(bare.player.controls.loudness.number == full.player.controls.loudness.number);
    CHECK(bare.player.controls.sustain == full.player.controls.sustain);
    CHECK(bare.take.keep == full.take.keep);
    CHECK(bare.take.silence == full.take.silence);
    CHECK(bare.log_level == full.log_level);
}

TEST_CASE("every key that the loader knows is told to the person")
{
    const std::string sections =
        "version = 1\nzzzzzzzzzzzz = 1\n[midi]\nzzzzzzzzzzzz = 1\n[[input]]\nname = \"a\"\nzzzzzzzzzzzz = 1\n[output]\nzzzzzzzzzzzz = 1\n"
        "[player]\nzzzzzzzzzzzz = 1\n[time]\nzzzzzzzzzzzz = 1\n[controls]\nzzzzzzzzzzzz = 1\n[[controls.key]]\nkey = 1\ndoes = \"panic\"\n"
        "zzzzzzzzzzzz = 1\n[[controls.controller]]\nnumber = 20\ndoes = \"panic\"\nzzzzzzzzzzzz = 1\n[lamps]\noutput = "
        "\"sampler\"\nzzzzzzzzzzzz = 1\n[take]\nzzzzzzzzzzzz = 1\n"
        "[status]\nzzzzzzzzzzzz = 1\n[log]\nzzzzzzzzzzzz = 1\n";
    const std::string configuration = text_of_file(shipped / "bowarm.toml");
    const auto keys = known_keys(problems_of_configuration(sections));
    CHECK(keys.size() > 40);
    for (const std::string& key : keys) {
        CAPTURE(key);
        const bool told = configuration.find(key + " = ") != std::string::npos ||
                          configuration.find("[" + key + "]") != std::string::npos ||
                          configuration.find("controls." + key + "]") != std::string::npos;
        CHECK(told);
    }

    const Folder folder;
    folder.write("instruments/violin.toml", text_of_file(shipped / "instruments/violin.toml"));
    std::string target = text_of_file(shipped / "targets/general-midi.toml");
    target = with(target, "channel = 1", "zzzzzzzzzzzz = 1");
    target = with(target, "note_velocity = \"attack\"", "zzzzzzzzzzzz = 1");
    target = with(target, "{program = 45}", "{program = 45, zzzzzzzzzzzz = 1}");
    target = with(target, "initial = 90", "zzzzzzzzzzzz = 1");
    target = with(target, "depth = 0.35", "depth = 0.35, zzzzzzzzzzzz = 1");
    target += "[pass]\nzzzzzzzzzzzz = 1\n[state.muted]\nzzzzzzzzzzzz = 1\nswitch = {controller = 20, value = 1}\n"
              "[state.unmuted]\nswitch = {controller = 20, value = 0}\n";
    folder.write("targets/general-midi.toml", target);
    const auto problems = problems_of(load_configuration(folder.write("bowarm.toml", "version = 1\n"), {}));
    CHECK(problems.size() == 7);
    const std::string manual = text_of_file(shipped / "targets/README.md");
    const auto target_keys = known_keys(problems);
    CHECK(target_keys.size() > 30);
    for (const std::string& key : target_keys) {
        CAPTURE(key);
        const bool told = manual.find("`" + key + "`") != std::string::npos || manual.find("[" + key + "]") != std::string::npos ||
                          manual.find("[" + key + ".NAME]") != std::string::npos || manual.find(key + " = ") != std::string::npos;
        CHECK(told);
    }
}

TEST_CASE("a hand stretches as far as the handbooks' widest frame in the low positions, and no farther")
{
    // Semitones between two stopped notes on neighbouring strings, the lower finger a tone above the nut: violin 7, viola 6,
    // cello 5 (extended, "very strained": a cello teaching site), double bass 3.  Handbooks, from memory.
    struct Row {
        const char* instrument;
        int widest;
    };
    constexpr Row rows[] = {{"violin", 7}, {"viola", 6}, {"cello", 5}, {"double-bass", 3}};
    for (const Row& row : rows) {
        CAPTURE(row.instrument);
        const Instrument instrument = load(row.instrument, "general-midi").player.instrument;
        const Midi7 low = Midi7::nearest(instrument.strings[0].open_key.get() + 2);
        const int from = instrument.strings[1].open_key.get() + 2;
        CHECK(finger_together(instrument, low, std::nullopt, Midi7::nearest(from + row.widest)).has_value());
        CHECK(!finger_together(instrument, low, std::nullopt, Midi7::nearest(from + row.widest + 1)).has_value());
    }
}
