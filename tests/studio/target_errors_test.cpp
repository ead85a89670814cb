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
