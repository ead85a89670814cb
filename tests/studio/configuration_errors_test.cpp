#include "studio/files.hpp"

#include <cstdlib>
#include <sys/stat.h>

using namespace bowarm;
using namespace studio_test;

namespace
{

struct Row {
    const char* why;
    const char* text;  // after the line `version = 1`, so the first line here is line 2
    const char* where; // line and column of the one problem
    const char* says;  // in its line
};

constexpr Row rows[] = {
    {"a key with a slip is named with the nearest one", "[player]\nchord_windw_s = 0.02\n", ":3:", "did you mean 'chord_window_s'?"},
    {"a key that resembles nothing gets the list", "[time]\ncolour = 1\n", ":3:10", "known: tempo, meter"},
    {"a section with a slip", "[plyer]\nname = \"a\"\n", ":2:1", "did you mean 'player'?"},
    {"the offending line is shown", "[player]\nchord_window_s = 9\n", ":3:18", "in `chord_window_s = 9`"},
    {"the range is named", "[player]\nchord_window_s = 9\n", ":3:18", "a number from 0 to 0.08"},
    {"no number at all (TOML 1.0 allows nan)", "[player]\nchord_window_s = nan\n", ":3:18", "a number from 0 to 0.08"},
    {"negative infinity", "[player]\nlift_after_s = -inf\n", ":3:16", "a number from 0.05 to 10"},
    {"a number beyond doubles", "[player]\nlift_after_s = 1e999\n", ":3:16", "a number from 0.05 to 10"},
    {"a whole number beyond 64 bits", "[controls]\nchannel = 99999999999999999999\n", ":3:11", "a whole number from 1 to 16"},
    {"just below the range", "[player]\nlift_after_s = 0.0499\n", ":3:16", "a number from 0.05 to 10"},
    {"just above the range", "[take]\nsilence_s = 3600.5\n", ":3:13", "a number from 1 to 3600"},
    {"channels begin at 1", "[controls]\nchannel = 0\n", ":3:11", "a whole number from 1 to 16"},
    {"channels end at 16", "[controls]\nchannel = 17\n", ":3:11", "a whole number from 1 to 16"},
    {"a channel has no half", "[controls]\nchannel = 1.5\n", ":3:11", "a whole number from 1 to 16"},
    {"a text for a number", "[time]\ntempo = \"fast\"\n", ":3:9", "a number from 10 to 400"},
    {"a number for a text", "[player]\ninstrument = 3\n", ":3:14", "a text"},
    {"a wrong choice lists the right ones", "[player]\nout_of_range = \"skip\"\n", ":3:16", "\"pass\", \"drop\", \"octave\""},
    {"a choice with a slip", "[player]\nout_of_range = \"octav\"\n", ":3:16", "did you mean \"octave\"?"},
    {"no such meter", "[time]\nmeter = \"4/5\"\n", ":3:9", "no meter"},
    {"a bar of nothing", "[time]\nmeter = \"0/4\"\n", ":3:9", "no meter"},
    {"a meter and something", "[time]\nmeter = \"4/4x\"\n", ":3:9", "no meter"},
    {"a table that is a value", "player = 3\n", ":2:10", "write [player]"},
    {"tables in a row that are one table", "[input]\nname = \"a\"\n", ":2:1", "write [[input]]"},
    {"a port's name must pass through every MIDI system", "[midi]\nclient = \"a:b\"\n", ":3:10", "without a colon"},
    {"two inputs of one name", "[[input]]\nname = \"a\"\n[[input]]\nname = \"a\"\n", ":5:8", "another input has this name"},
    {"an input without a name", "[[input]]\noptional = true\n", ":2:1", "input.name: missing"},
    {"an output that nobody can reach", "[output]\nvirtual = false\n", ":3:11", "neither virtual nor connected"},
    {"connect is a list", "[output]\nconnect = \"synth\"\n", ":3:11", "a list"},
    {"connect lists texts", "[output]\nconnect = [1]\n", ":3:12", "a list"},
    {"an unknown instrument names the known ones", "[player]\ninstrument = \"violine\"\n", ":3:14",
     "known: cello, double-bass, viola, violin"},
    {"an unknown target names the known ones", "[player]\ntarget = \"sampler\"\n", ":3:10",
     "known: channel-per-technique, controller-ranges, general-midi"},
    {"bank select is no loudness", "[controls]\nloudness = \"cc 0\"\n", ":3:12", "no controller to listen to"},
    {"channel mode numbers are no loudness", "[controls]\nloudness = \"cc 123\"\n", ":3:12", "no controller to listen to"},
    {"the pedal has its own key", "[controls]\nloudness = \"cc 64\"\n", ":3:12", "sustain"},
    {"a string the violin has not", "[[controls.key]]\nkey = 1\ndoes = \"string C\"\n", ":4:8", "the violin has no such string"},
    {"a fifth string", "[[controls.key]]\nkey = 1\ndoes = \"string 5\"\n", ":4:8", "the violin has no such string"},
    {"a string without a name", "[[controls.key]]\nkey = 1\ndoes = \"string high\"\n", ":4:8", "its number from the highest"},
    {"a vibrato that has a purpose already", "[vibrato]\ncontroller = \"cc 11\"\n", ":3:14", "a purpose in [controls] already"},
    {"a vibrato in no technique", "[vibrato.in]\nspicato = 0.5\n", ":3:11", "did you mean 'spiccato'"},
    {"five desks", "[player]\ndesks = 5\n", ":3:9", "a whole number from 1 to 4"},
    {"one controller for two purposes", "[controls]\nloudness = \"cc 1\"\namount = \"cc 1\"\n", ":4:10", "the same controller as loudness"},
    {"a pedal whose two ends are one", "[controls]\nloudness_from = 7\nloudness_to = 7\n", ":4:15", "the same as where the range begins"},
    {"an end beyond 7 bits", "[controls]\nloudness_to = 128\n", ":3:15", "a whole number from 0 to 127"},
    {"a key that is none", "[[controls.key]]\nkey = \"H2\"\ndoes = \"panic\"\n", ":3:7", "or its number from 0 to 127"},
    {"a key above the top", "[[controls.key]]\nkey = \"G#9\"\ndoes = \"panic\"\n", ":3:7", "or its number from 0 to 127"},
    {"a key twice, by name and by number",
     "[[controls.key]]\nkey = \"C0\"\ndoes = \"panic\"\n[[controls.key]]\nkey = 12\ndoes = \"bypass\"\n", ":6:7", "has an action already"},
    {"a control key that is a note of the violin", "[[controls.key]]\nkey = \"A4\"\ndoes = \"panic\"\n", ":3:7",
     "A4 is a note of the violin (G3 to B7)"},
    {"the violin's lowest note is one", "[[controls.key]]\nkey = 55\ndoes = \"panic\"\n", ":3:7", "G3 is a note of the violin"},
    {"an unknown technique", "[[controls.key]]\nkey = 12\ndoes = \"technique spicato\"\n", ":4:8", "did you mean 'spiccato'?"},
    {"an unknown action", "[[controls.key]]\nkey = 12\ndoes = \"panick\"\n", ":4:8", "did you mean 'panic'?"},
    {"programs are counted from 1", "[[controls.program]]\nnumber = 0\ndoes = \"mute\"\n", ":3:10", "a whole number from 1 to 128"},
    {"a program twice", "[[controls.program]]\nnumber = 5\ndoes = \"mute\"\n[[controls.program]]\nnumber = 5\ndoes = \"panic\"\n", ":6:10",
     "has an action already"},
    {"a program change cannot be held", "[[controls.program]]\nnumber = 5\ndoes = \"down bows\"\n", ":4:8", "is not held"},
    {"a zone with a slip", "[[controls.key]]\nkey = 12\ndoes = \"sul tastro\"\n", ":4:8", "did you mean 'sul tasto'?"},
    {"a controller's action on the loudness controller", "[[controls.controller]]\nnumber = 11\ndoes = \"panic\"\n", ":3:10", "loudness"},
    {"a controller's range upside down", "[[controls.controller]]\nnumber = 20\nfrom = 90\nto = 80\ndoes = \"panic\"\n", ":5:6",
     "from is above to"},
    {"two actions at one value",
     "[[controls.controller]]\nnumber = 20\nto = 70\ndoes = \"panic\"\n[[controls.controller]]\nnumber = 20\nfrom = 70\ndoes = "
     "\"bypass\"\n",
     ":8:8", "overlap"},
    {"a value's missing (syntax)", "[player]\nname =\n", ":3:", "not TOML"},
    {"a quote is missing (syntax)", "[player]\nname = \"solo\n", ":3:", "not TOML"},
    {"a key twice (syntax)", "[time]\ntempo = 60\ntempo = 70\n", ":4:", "not TOML"},
};

} // namespace

TEST_CASE("one mistake gives one line with its place and a remedy")
{
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const auto problems = problems_of_configuration(std::string{"version = 1\n"} + row.text);
        CAPTURE(lines(problems));
        CHECK(problems.size() == 1);
        if (problems.empty()) continue;
        const std::string line = problems[0].line();
        CHECK(line.find(std::string{"bowarm.toml"} + row.where) != std::string::npos);
        CHECK(line.find(row.says) != std::string::npos);
        CHECK(line.find('\n') == std::string::npos);
        CHECK(!problems[0].remedy.empty());
        CHECK(!problems[0].missing_file);
    }
}

TEST_CASE("the edges of every range belong to it")
{
    const char* fine[] = {
        "[player]\nchord_window_s = 0\n",
        "[player]\nchord_window_s = 0.08\n",
        "[player]\nlift_after_s = 0.05\n",
        "[player]\nlift_after_s = 10\n",
        "[controls]\nchannel = 1\n",
        "[controls]\nchannel = 16\n",
        "[time]\nmeter = \"1/1\"\n",
        "[time]\nmeter = \"32/32\"\n",
        "[take]\nsilence_s = 1\n",
        "[take]\nsilence_s = 3600\n",
        "[time]\ntempo = 10\n",
        "[time]\ntempo = 400\n",
        "[[controls.key]]\nkey = 54\ndoes = \"panic\"\n", // one below the violin's G3
        "[[controls.key]]\nkey = 0\ndoes = \"panic\"\n",
        "[[controls.key]]\nkey = \"G9\"\ndoes = \"panic\"\n",
        "[[controls.controller]]\nnumber = 20\nto = 69\ndoes = \"panic\"\n[[controls.controller]]\nnumber = 20\nfrom = 70\ndoes = "
        "\"bypass\"\n",
        "", // nothing but the version
    };
    for (const char* text : fine) {
        CAPTURE(text);
        CHECK(lines(problems_of_configuration(std::string{"version = 1\n"} + text)) == "");
    }
}

TEST_CASE("all problems come at once, from the top down in each section, and from every file")
{
    const Folder folder;
    folder.write("instruments/own.toml", with(text_of_file(shipped / "instruments/violin.toml"), "force_low_n = 0.1", "force_low_n = -1"));
    folder.write("targets/own.toml", with(text_of_file(shipped / "targets/general-midi.toml"), "channel = 1", "channel = 99"));
    const auto file = folder.write(
        "bowarm.toml",
        "version = 2\n[player]\ninstrument = \"own\"\ntarget = \"own\"\nsoften = 1\nlift_after_s = 99\n[log]\nlevel = \"loud\"\n");
    const auto problems = problems_of(load_configuration(file, {}));
    const std::string all = lines(problems);
    CAPTURE(all);
    CHECK(problems.size() == 6);
    for (const char* part :
         {"bowarm.toml:1:11: version", "bowarm.toml:5:10: player.soften", "bowarm.toml:6:16: player.lift_after_s",
          "bowarm.toml:8:9: log.level", "own.toml:", "limits.force_low_n", "channel: must be a whole number from 1 to 16"})
        CHECK(all.find(part) != std::string::npos);
}

TEST_CASE("a missing version is asked for")
{
    const auto problems = problems_of_configuration("[player]\nname = \"a\"\n");
    REQUIRE(problems.size() == 1);
    CHECK(problems[0].line().find("version: missing") != std::string::npos);
}

TEST_CASE("a file that is not there is told apart from one that is wrong")
{
    const auto problems = problems_of(load_configuration("/nowhere/bowarm.toml", {}));
    REQUIRE(problems.size() == 1);
    CHECK(problems[0].missing_file);
    CHECK(problems[0].where == "/nowhere/bowarm.toml");

    const auto instrument = problems_of(load_configuration(shipped / "bowarm.toml", {"/nowhere/harp.toml", std::nullopt}));
    REQUIRE(instrument.size() == 1);
    CHECK(instrument[0].missing_file);
    CHECK(instrument[0].where == "/nowhere/harp.toml");
}

TEST_CASE("what is no ordinary file is refused at once, a pipe without a writer too")
{
    const Folder folder;
    const auto pipe = folder.path() / "pipe.toml";
    REQUIRE(::mkfifo(pipe.c_str(), 0600) == 0);
    for (const fs::path& path : {folder.path(), pipe, fs::path{"/dev/zero"}}) {
        const auto problems = problems_of(load_configuration(path, {}));
        REQUIRE(problems.size() == 1);
        CHECK(problems[0].what == "not an ordinary file");
    }
}

TEST_CASE("an unknown choice on the command line is told as such")
{
    const auto instrument = problems_of(load_configuration(shipped / "bowarm.toml", {"viola-da-gamba", std::nullopt}));
    REQUIRE(instrument.size() == 1);
    CHECK(instrument[0].line() == "--instrument: no instrument named 'viola-da-gamba'; known: cello, double-bass, viola, violin");
    const auto target = problems_of(load_configuration(shipped / "bowarm.toml", {std::nullopt, "nothing"}));
    REQUIRE(target.size() == 1);
    CHECK(target[0].line() == "--target: no target named 'nothing'; known: channel-per-technique, controller-ranges, general-midi, "
                              "held-keyswitches, keyswitch-demo, physical-model, program-changes, stand-in");
}
