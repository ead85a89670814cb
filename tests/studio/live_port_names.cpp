// Which ports a line of the configuration means, and how much may be handed to RtMidi at once.
#include "midi/ports/credit.hpp"
#include "midi/ports/library_lines.hpp"
#include "midi/ports/port_names.hpp"

#include <doctest/doctest.h>
#include <jack/jack.h>

#include <cstdlib>

using namespace bowarm;

// Names as ALSA and JACK list them; the numbers of ALSA's change with every start (RtMidi's documentation of getPortName).
TEST_CASE("a wish is a part of a name, a whole name in quotes, or a name with stars")
{
    struct Row {
        const char* why;
        const char* wish;
        const char* name;
        bool meant;
    };
    constexpr Row rows[] = {
        {"a part in another case", "mastER", "Master Keys:Master Keys MIDI 1 20:0", true},
        {"not a part", "organ", "Master Keys:Master Keys MIDI 1 20:0", false},
        {"client numbers are no part of a name", "20:0", "Master Keys:Master Keys MIDI 1 20:0", false},
        {"a port's own number is", "MIDI 1", "Master Keys:Master Keys MIDI 1 20:0", true},
        {"quoted: the whole name, without ALSA's numbers", "\"Master Keys:Master Keys MIDI 1\"", "Master Keys:Master Keys MIDI 1 20:0",
         true},
        {"quoted: not a part", "\"Master Keys\"", "Master Keys:Master Keys MIDI 1 20:0", false},
        {"quoted: the case counts", "\"synth:midi\"", "Synth:midi", false},
        {"star for everything", "*", "synth:midi_00", true},
        {"star at both ends", "*midi*", "Synth:MIDI_00", true},
        {"a glob is of the whole name", "midi*", "synth:midi_00", false},
        {"several stars, going back", "a*b*c", "aXbYbZc", true},
        {"several stars, none fits", "a*b*c", "aXbYbZ", false},
        {"a bridge before the name does not matter", "Master Keys", "Bridge:Master Keys:[0] Master Keys MIDI 1", true},
        {"nothing wished for", "", "synth:midi_00", false},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        CHECK(matches(row.wish, row.name) == row.meant);
    }
}

TEST_CASE("many stars on a long name end at once")
{
    std::string wish, name(255, 'a');
    for (int i = 0; i < 40; ++i) wish += "a*";
    CHECK_FALSE(matches(wish + "b", name)); // backtracking through every split would take for ever
}

TEST_CASE("the exact name comes before names that hold it, and only a star means several")
{
    const std::vector<std::string> names{"synth:midi_01", "synth:midi", "organ:midi"};
    CHECK(chosen("SYNTH:midi", names) == std::vector<std::string>{"synth:midi"});
    CHECK(chosen("synth", names).empty());
    CHECK(rivals("synth", names) == std::vector<std::string>{"synth:midi_01", "synth:midi"});
    CHECK(rivals("SYNTH:midi", names).empty());
    CHECK(rivals("*midi*", names).empty());
    CHECK(chosen("*midi", names) == std::vector<std::string>{"synth:midi", "organ:midi"});
    CHECK(chosen("piano", names).empty());
}

// One device may show two equal names (alsa-project/alsa-lib issue 442).
TEST_CASE("twins are told apart by their numbers only when the line says so")
{
    const std::vector<std::string> names{"Box:Box MIDI 1 24:0", "Box:Box MIDI 1 28:0"};
    CHECK(chosen("Box:Box MIDI 1", names).empty());
    CHECK(rivals("\"Box:Box MIDI 1\"", names).size() == 2);
    CHECK(chosen("\"Box:Box MIDI 1 28:0\"", names) == std::vector<std::string>{"Box:Box MIDI 1 28:0"});
}

// POSIX extended expressions: IEEE Std 1003.1-2017, 9.4.
TEST_CASE("re: is an expression that fits somewhere in the name without its numbers, and is bounded")
{
    CHECK(matches("re:^master.*[0-9]$", "Master Keys:Master Keys MIDI 1 20:0"));
    CHECK_FALSE(matches("re:20:0", "Master Keys:Master Keys MIDI 1 20:0"));
    CHECK(matches("re:(synth|organ):midi", "Organ:midi"));
    CHECK_FALSE(matches("re:^midi", "Organ:midi"));
    CHECK(chosen("re:midi", std::vector<std::string>{"synth:midi", "organ:midi"}).empty());
    CHECK(rivals("re:midi", std::vector<std::string>{"synth:midi", "organ:midi"}).size() == 2);
    CHECK(trouble_with("synth").empty());
    CHECK(trouble_with("re:a{1,16}b").empty());
    for (const char* wrong : {"re:", "re:(", "re:[a", "re:(a)\\1", "re:a{17}", "re:a{2,99999999999}", "re:((a{9}){9}){9}"}) {
        CAPTURE(wrong);
        CHECK_FALSE(trouble_with(wrong).empty());
        CHECK_FALSE(matches(wrong, "aa"));
    }
    CHECK_FALSE(trouble_with("re:" + std::string(201, 'a')).empty());
}

TEST_CASE("our own ports and through ports are told from others")
{
    CHECK(is_own("bowarm keys:in", "bowarm"));
    CHECK(is_own("bowarm:out", "bowarm"));
    CHECK_FALSE(is_own("bowarmer:out", "bowarm"));
    CHECK(is_through("Midi Through:Midi Through Port-0 14:0"));
    CHECK_FALSE(is_through("Synth:midi"));
}

// RtMidi 5.0.0 keeps a ring of 16384 bytes and writes a message's length, four bytes, before it.
TEST_CASE("credit never lets RtMidi's ring fill, however the cycles come")
{
    Credit credit;
    std::size_t in_ring = 0, worst = 0;
    std::uint64_t handed_over = 0;
    for (std::uint64_t cycle = 10; cycle < 40; ++cycle) {
        while (credit.allows(Credit::cost(3), cycle)) {
            credit.spend(Credit::cost(3), cycle);
            in_ring += 7;
            ++handed_over;
            worst = std::max(worst, in_ring);
        }
        // JACK empties the ring in its cycle; the count may run ahead of that by less than one.
        if (cycle % 2 == 0) in_ring = 0;
    }
    CHECK(worst <= 16'383);
    CHECK(handed_over > 10 * 1000); // and it does flow
}

// jack/jack.h: with JackNoStartServer and no server of that name a client is not made, and libjack says why at each try.
TEST_CASE("what libjack says again and again is kept once")
{
    ::setenv("JACK_DEFAULT_SERVER", "bowarm-no-such-server", 1);
    const LibraryLines guard;
    const auto lines_of_a_try = [] {
        jack_status_t status{};
        CHECK(jack_client_open("bowarm-test", JackNoStartServer, &status) == nullptr);
        return take_library_lines().size();
    };
    lines_of_a_try(); // some, unless a case before this one has heard them
    CHECK(lines_of_a_try() == 0);
    ::unsetenv("JACK_DEFAULT_SERVER");
}

TEST_CASE("credit that stands still is used up after eight kibibytes")
{
    Credit credit;
    std::size_t count = 0;
    while (credit.allows(Credit::cost(3), 7) && count < 100'000) {
        credit.spend(Credit::cost(3), 7);
        ++count;
    }
    CHECK(count == 8192 / 7);
    CHECK_FALSE(credit.allows(Credit::cost(3), 8)); // one cycle may have begun before the last message
    CHECK(credit.allows(Credit::cost(3), 9));
}
