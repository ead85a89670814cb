#include "studio/files.hpp"

using namespace bowarm;
using namespace studio_test;

namespace
{

struct Row {
    const char* why;
    const char* part; // of a shipped file
    const char* instead;
    const char* says;
};

std::vector<Problem> problems_with(const char* kind, const char* name, const Row& row, const char* instrument = "violin")
{
    const Folder folder;
    const std::string file = std::string{kind} + "/" + name + ".toml";
    for (const char* other :
         {"instruments/violin.toml", "instruments/double-bass.toml", "targets/general-midi.toml", "targets/keyswitch-demo.toml"})
        folder.write(other, text_of_file(shipped / other));
    folder.write(file, with(text_of_file(shipped / file), row.part, row.instead));
    const bool is_target = std::string{kind} == "targets";
    return problems_of(load_configuration(folder.write("bowarm.toml", "version = 1\n"), {instrument, is_target ? name : "general-midi"}));
}

void check_rows(const char* kind, const char* name, std::span<const Row> rows, const char* instrument = "violin")
{
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const auto problems = problems_with(kind, name, row, instrument);
        CAPTURE(lines(problems));
        CHECK(problems.size() == 1);
        if (problems.empty()) continue;
        const std::string line = problems[0].line();
        CHECK(line.find(row.says) != std::string::npos);
        CHECK(line.find(std::string{name} + ".toml:") != std::string::npos);
        CHECK(!problems[0].remedy.empty());
    }
}

} // namespace

TEST_CASE("a target that cannot work is refused")
{
    constexpr Row rows[] = {
        {"a keyswitch on a violin's note", "{keyswitch = \"C-1\"}", "{keyswitch = \"G3\"}", "G3 is a note of the violin"},
        {"a technique that does not exist",
         "[technique.staccato]\nswitch = {keyswitch = \"G-1\"}\nsustains = false\nsounds_for_s = 0.35\nrepair = \"sound "
         "again\"\nnote_velocity = \"loudness\"",
         "[technique.staccato]\nfallback = \"spiccato\"\n[technique.martello]\nfallback = \"detache\"", "no such technique"},
        {"a technique that nobody told of", "[technique.hooked]\nfallback = \"staccato\"\n", "", "no word of hooked"},
        {"two curves on one controller", "sends = \"cc 21\"", "sends = \"cc 20\"", "another curve has this controller"},
        {"a curve on the low half of a fine one", "sends = \"cc 20\"\ninitial = 64\n\n[[curve]]\nquantity = \"force\"\nsends = \"cc 21\"",
         "sends = \"cc 20 fine\"\ninitial = 64\n\n[[curve]]\nquantity = \"force\"\nsends = \"cc 52\"", "another curve has this controller"},
        {"a curve on bank select", "sends = \"cc 21\"", "sends = \"cc 0\"", "no controller that can carry a curve"},
        {"a fine curve above 31", "sends = \"cc 21\"", "sends = \"cc 40 fine\"", "no controller that can carry a curve"},
        {"a curve on a controller that selects", "{keyswitch = \"C0\"}", "{controller = 21, value = 3}",
         "this controller selects a technique"},
        {"a value beyond 7 bits", "initial = 64", "initial = 128", "too large"},
        {"a range of nothing", "to = 3.0", "to = 0.0", "to must be above from"},
        {"a short sound without its length", "sounds_for_s = 0.6\n", "", "sounds_for_s: missing"},
        {"a long sound with a length", "sustains = false\nsounds_for_s = 0.6", "sounds_for_s = 0.6", "stands beside sustains = true"},
        {"one bow of a pair", "up = {keyswitch = \"C#-1\"}\n", "", "has one of down and up"},
        {"a pair and a switch", "switch = {keyswitch = \"D-1\"}",
         "switch = {keyswitch = \"D-1\"}\nup = {keyswitch = \"D-1\"}\ndown = {keyswitch = \"D-1\"}", "stands beside down or up"},
        {"two messages in one switch", "{keyswitch = \"D-1\"}", "{keyswitch = \"D-1\", program = 3}", "must name one of"},
        {"no message in a switch", "{keyswitch = \"D-1\"}", "{}", "must name one of"},
        {"a key of another kind of switch", "{keyswitch = \"D-1\"}", "{channel = 2, value = 3}", "belongs to a controller"},
        {"a program below the first", "{keyswitch = \"D-1\"}", "{program = 0}", "a whole number from 1 to 128"},
        {"a program that the instrument does not have here", "{keyswitch = \"D-1\"}", "{program = \"instrument\"}",
         "no program is given for the violin"},
        {"a fallback beside a way", "switch = {keyswitch = \"D-1\"}", "switch = {keyswitch = \"D-1\"}\nfallback = \"detache\"",
         "stands beside a way of its own"},
        {"a fallback to nothing known", "fallback = \"staccato\"", "fallback = \"stacato\"", "did you mean 'staccato'?"},
        {"a curve that colours itself", "exponent = 0.5", "with = [{quantity = \"speed\", depth = 0.5}]", "the curve's own quantity"},
        {"a depth above one", "initial = 64", "with = [{quantity = \"speed\", depth = 1.01}]", "a number from -1 to 1"},
        {"a fade with nothing to fade", "quantity = \"loudness\"", "quantity = \"speed\"", "nothing to fade with"},
        {"a curve that is no number", "exponent = 0.5", "exponent = nan", "a number from 0.1 to 10"},
        {"a thirteenth curve", "[[curve]]\nquantity = \"direction\"",
         "[[curve]]\nquantity = \"hair\"\nsends = \"cc 102\"\n[[curve]]\nquantity = \"hair\"\nsends = \"cc 103\"\n[[curve]]\nquantity = "
         "\"hair\"\nsends = \"cc 104\"\n"
         "[[curve]]\nquantity = \"hair\"\nsends = \"cc 105\"\n[[curve]]\nquantity = \"hair\"\nsends = \"cc 106\"\n[[curve]]\nquantity = "
         "\"hair\"\nsends = \"cc 107\"\n"
         "[[curve]]\nquantity = \"hair\"\nsends = \"cc 108\"\n[[curve]]\nquantity = \"direction\"",
         "more than 12"},
    };
    check_rows("targets", "keyswitch-demo", rows);
}

TEST_CASE("a keyswitch or a controller value that two techniques share is named with both places")
{
    constexpr Row rows[] = {
        {"one key for two techniques", "{keyswitch = \"D#-1\"}", "{keyswitch = \"D-1\"}", "selects legato as well"},
        {"the up-bow of one is the down-bow of another", "up = {keyswitch = \"F#-1\"}", "up = {keyswitch = \"C-1\"}",
         "selects detache as well"},
        {"held here and latching there", "{keyswitch = \"D#-1\"}", "{keyswitch = \"D-1\", held = true}", "selects legato as well"},
        {"shared with one that has a fallback", "switch = {keyswitch = \"D#-1\"}", "same_switch_as = \"hooked\"",
         "hooked has no switch of its own"},
        {"shared and a switch", "switch = {keyswitch = \"D#-1\"}", "switch = {keyswitch = \"D#-1\"}\nsame_switch_as = \"legato\"",
         "stands beside a switch of its own"},
        {"nothing sent among keyswitches", "switch = {keyswitch = \"D-1\"}\n", "", "no switch, so it would sound as detache"},
        {"twice the same key", "{keyswitch = \"D-1\"}", "[{keyswitch = \"D-1\"}, {keyswitch = \"D-1\", held = true}]",
         "twice in one switch"},
        {"six parts of a switch", "{keyswitch = \"D-1\"}",
         "[{keyswitch = \"D-1\"}, {keyswitch = \"F0\"}, {controller = 102, value = 1}, {controller = 103, value = 1}, {controller = 104, "
         "value = 1}]",
         "more than 4 messages"},
        {"nothing held to let go of", "repair = \"controller fade\"", "repair = \"release switch\"", "no held keyswitch"},
        {"two channels", "{keyswitch = \"D-1\"}", "[{channel = 2}, {channel = 3}]", "a second channel"},
        {"an empty list", "{keyswitch = \"D-1\"}", "[]", "an empty list"},
        {"no table", "{keyswitch = \"D-1\"}", "[5]", "must be tables in a row"},
    };
    check_rows("targets", "keyswitch-demo", rows);
    constexpr Row ranges[] = {
        {"ranges that overlap", "values = [20, 29]", "values = [19, 29]", "selects legato as well"},
        {"a value inside another's range", "{controller = 102, values = [20, 29]}", "{controller = 102, value = 12}",
         "selects legato as well"},
        {"a range upside down", "values = [20, 29]", "values = [29, 20]", "the lower first"},
        {"a range and a value", "values = [20, 29]", "values = [20, 29], value = 20", "stands beside value"},
        {"neither range nor value", "{controller = 102, values = [20, 29]}", "{controller = 102}", "value: missing"},
        {"a curve on a state's controller", "sends = \"cc 23\"", "sends = \"cc 104\"", "selects a technique or a state"},
        {"a state on a technique's controller", "{controller = 104, values = [0, 42]}", "{controller = 102, value = 3}",
         "belongs to detache"},
        {"two states alike", "{controller = 104, values = [0, 42]}", "{controller = 104, values = [40, 50]}", "selects "},
        {"a state with nothing to undo it",
         "[state.ordinary]\nswitch = {controller = 104, values = [43, 85]}\n\n[state.sul-ponticello]\n"
         "switch = {controller = 104, values = [86, 127]}\n",
         "", "nothing undoes it"},
        {"a state that does not exist", "[state.sul-tasto]", "[state.sul-pont]", "no such state"},
        {"a program as a state", "{controller = 104, values = [0, 42]}", "{program = 3}", "a state is one or two"},
        {"passed on to where the arm speaks", "\"cc 21\"}", "\"cc 20\"}", "the arm itself sends cc 20"},
        {"passed on to what selects", "\"cc 21\"}", "\"cc 102\"}", "the arm itself sends cc 102"},
        {"passed on from nowhere", "{\"cc 1\" =", "{\"cc 0\" =", "no controller 'cc 0'"},
        {"dropped and passed on", "[pass]", "[pass]\ndrop = [\"cc 1\"]", "the same controller twice"},
        {"a name that is no controller", "[pass]", "[pass]\ndrop = [\"wheel\"]", "no controller 'wheel'"},
        {"a hand that is never there", "pick_up_s = 0.3", "pick_up_s = 3", "a number from 0 to 2"},
        {"a colour twice", "with = [{quantity = \"speed\", depth = 0.35}]",
         "with = [{quantity = \"speed\", depth = 0.35}, {quantity = \"speed\", depth = 0.1}]", "twice in one curve"},
    };
    check_rows("targets", "controller-ranges", ranges);
}

TEST_CASE("layers, banks, repairs and points that contradict themselves are refused")
{
    constexpr Row banks[] = {
        {"a program without a bank", "{bank = 0, program = 3}", "{program = 3}", "a program without a bank"},
        {"two programs", "{bank = 0, program = 3}", "[{bank = 0, program = 3}, {bank = 0, program = 9}]", "a second program"},
        {"one layer", "layer = [{to = 0.5, switch = {bank = 0, program = 1}}, {switch = {bank = 0, program = 2}}]",
         "layer = [{switch = {bank = 0, program = 2}}]", "one layer is none"},
        {"a layer above the highest", "{to = 0.5,", "{to = 5,", "not between the layer before and the highest"},
        {"a layer without its end", "{to = 0.5, switch", "{switch", "only the last layer goes without"},
        {"an end of the last layer", "{switch = {bank = 0, program = 2}}]", "{to = 0.9, switch = {bank = 0, program = 2}}]",
         "of the last layer"},
        {"a layer of nothing", "{switch = {bank = 0, program = 2}}]", "{}]", "a layer without a switch"},
        {"layers and a switch", "layers_by = \"loudness\"", "layers_by = \"loudness\"\nswitch = {bank = 0, program = 9}",
         "stands beside a switch for all"},
        {"a choice of no layers", "switch = {bank = 0, program = 3}", "layers_by = \"velocity\"\nswitch = {bank = 0, program = 3}",
         "there are no layers"},
    };
    check_rows("targets", "program-changes", banks);
    constexpr Row held[] = {
        {"velocities upside down", "velocity_low = 20", "velocity_low = 121", "velocity_low is above velocity_high"},
        {"muted for ever", "[state.unmuted]\nswitch = {controller = 102, value = 0}\n", "", "nothing undoes it"},
        {"points and an exponent", "initial = 64", "exponent = 2.0", "stands beside points"},
        {"points that turn back", "[0.3, 50], [0.7, 100]", "[0.3, 50], [0.7, 40]", "one way, up or down"},
        {"points out of order", "[0.3, 50], [0.7, 100]", "[0.7, 50], [0.3, 100]", "has to rise"},
        {"a point beyond 7 bits", "[1, 127]]", "[1, 128]]", "0 to 127"},
        {"a point that is no number", "[0.3, 50]", "[nan, 50]", "each must be a quantity"},
        {"a single point", "points = [[0, 12], [0.3, 50], [0.7, 100], [1, 127]]", "points = [[0, 12]]", "2 to 8 pairs"},
        {"a colour that never moves", "{quantity = \"force\"", "{quantity = \"hair\"", "must be one of"},
    };
    check_rows("targets", "held-keyswitches", held);
}

TEST_CASE("all that is wrong is told at once, in the order of the file's parts")
{
    const Folder folder;
    folder.write("instruments/violin.toml", text_of_file(shipped / "instruments/violin.toml"));
    std::string text = text_of_file(shipped / "targets/keyswitch-demo.toml");
    text = with(text, "channel = 1", "channel = 17");
    text = with(text, "{keyswitch = \"D-1\"}", "{keyswitch = \"A4\"}");
    text = with(text, "{keyswitch = \"E-1\"}", "{keyswitch = \"D#-1\"}");
    text = with(text, "fallback = \"staccato\"", "fallback = \"hooked\"");
    text = with(text, "sends = \"cc 22\"", "sends = \"cc 21\"");
    text = with(text, "dead_band = 2\n", "deadband = 2\n");
    folder.write("targets/keyswitch-demo.toml", text);
    const auto problems = problems_of(load_configuration(folder.write("bowarm.toml", "version = 1\n"), {"violin", "keyswitch-demo"}));
    CAPTURE(lines(problems));
    REQUIRE(problems.size() == 6);
    const char* says[] = {"channel: must be",        "A4 is a note of the violin",        "go round in a circle",
                          "selects portato as well", "another curve has this controller", "did you mean 'dead_band'?"};
    for (std::size_t i = 0; i < std::size(says); ++i) CHECK(problems[i].line().find(says[i]) != std::string::npos);
}

TEST_CASE("fallbacks that go round are named for each technique that is caught in them")
{
    const Row row{"", "[technique.hooked]\nfallback = \"staccato\"", "[technique.hooked]\nfallback = \"hooked\"", ""};
    const auto problems = problems_with("targets", "general-midi", row);
    REQUIRE(problems.size() == 1);
    CHECK(problems[0].line().find("technique.hooked: its fallbacks go round in a circle") != std::string::npos);
}

TEST_CASE("a keyswitch is judged by the instrument at hand")
{
    const Row row{"", "{keyswitch = \"C-1\"}", "{keyswitch = \"E1\"}", "E1 is a note of the double-bass"};
    CHECK(problems_with("targets", "keyswitch-demo", row, "violin").empty());
    check_rows("targets", "keyswitch-demo", {&row, 1}, "double-bass");
}

TEST_CASE("an instrument that cannot be is refused")
{
    constexpr Row rows[] = {
        {"grams for kilograms", "mass_kg = 0.060", "mass_kg = 60", "a number from 0.02 to 0.3"},
        {"strings out of order", "open = \"D4\"", "open = \"F3\"", "not above the string before"},
        {"dynamics out of order", "loudness = 0.6", "loudness = 0.4", "not above the row before"},
        {"a range below the strings", "lowest = \"G3\"", "lowest = \"F#3\"", "below the lowest open string"},
        {"a range that ends too soon", "highest = \"B7\"", "highest = \"D5\"", "below the highest open string"},
        {"an arm stronger at the tip", "force_high_at_tip_n = 2.0", "force_high_at_tip_n = 3.1", "below force_high_at_tip_n"},
        {"dynamics beyond the arm", "force_n = 1.5", "force_n = 3.5", "outside the limits of this file"},
        {"dynamics nearer than the bridge allows", "beta = 0.0714", "beta = 0.0300", "outside the limits of this file"},
        {"a rate upside down", "spiccato_high_hz = 7.0", "spiccato_high_hz = 1.0", "not above spiccato_low_hz"},
        {"a friction that is no number", "friction_difference = 0.5", "friction_difference = nan", "a number from 0.05 to 1.5"},
        {"a slip in a key", "tremolo_hz", "tremelo_hz", "rates"},
        {"a version of tomorrow", "version = 1", "version = 2", "a whole number from 1 to 1"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const auto problems = problems_with("instruments", "violin", row);
        CAPTURE(lines(problems));
        REQUIRE(!problems.empty());
        CHECK(problems.size() <= 2); // a slip is an unknown key and a missing one
        CHECK(problems[0].line().find(row.says) != std::string::npos);
        CHECK(problems[0].line().find("violin.toml:") != std::string::npos);
    }
}
