// What a person says about delays, cables and samplers that speak late is taken, or refused with a reason.
#include "studio/files.hpp"

#include "player/delays.hpp"

using namespace bowarm;
using namespace studio_test;

namespace
{

std::vector<Problem> problems_of_technique(const std::string& keys)
{
    const Folder folder;
    folder.write("instruments/violin.toml", text_of_file(shipped / "instruments/violin.toml"));
    folder.write("targets/general-midi.toml",
                 with(text_of_file(shipped / "targets/general-midi.toml"), "[technique.detache]\n", "[technique.detache]\n" + keys));
    return problems_of(load_configuration(folder.write("bowarm.toml", "version = 1\n"), {}));
}

Settings settings_of(const std::string& configuration)
{
    const Folder folder;
    folder.write("instruments/violin.toml", text_of_file(shipped / "instruments/violin.toml"));
    folder.write("targets/keyswitch-demo.toml", text_of_file(shipped / "targets/keyswitch-demo.toml"));
    const Loaded loaded = load_configuration(folder.write("bowarm.toml", "version = 1\n" + configuration), {{}, "keyswitch-demo"});
    REQUIRE(std::holds_alternative<Settings>(loaded));
    return std::get<Settings>(loaded);
}

} // namespace

TEST_CASE("nothing waits and no cable is slow unless asked for")
{
    const Settings s = settings_of("");
    CHECK(s.player.delay == Seconds{0});
    CHECK(s.player.players_on_cable == 0);
    CHECK(delays_of(s.player).total() == Duration{0});
}

TEST_CASE("a DIN cable and a delay are taken, and what the sampler needs of it is not foresight")
{
    const Settings s = settings_of("[output]\ncable = \"din\"\n[player]\ndelay_s = 0.3\n");
    CHECK(s.player.players_on_cable == 1);
    const Delays delays = delays_of(s.player);
    CHECK(delays.total() == milliseconds(300));
    CHECK(to_seconds(delays.early).value == doctest::Approx(longest_delay(s.player.target).value));
    CHECK(delays.foresees);
}

TEST_CASE("a target's speaking delays are taken, and a slurred note speaks as any other where nothing is said of it")
{
    const TargetSpec target = settings_of("").player.target;
    const SpeakingDelay& legato = target.techniques[static_cast<std::size_t>(Technique::legato)].speaking;
    CHECK(legato.first == Seconds{0.05});
    CHECK(legato.connected == Seconds{0.09});
    CHECK(legato.softest_adds == Seconds{0.02});
    CHECK(legato.octave_adds == Seconds{0.03});
    const SpeakingDelay& detache = target.techniques[static_cast<std::size_t>(Technique::detache)].speaking;
    CHECK(detache.first == Seconds{0.05});
    CHECK(detache.connected == Seconds{0.05});
    CHECK(target.techniques[static_cast<std::size_t>(Technique::pizzicato)].speaking.first == Seconds{0});
}

TEST_CASE("delays that cannot be are refused, with their place")
{
    struct Row {
        const char* text;
        const char* says;
    };
    constexpr Row of_configuration[] = {
        {"version = 1\n[player]\ndelay_s = 0.6\n", "a number from 0 to 0.5"},
        {"version = 1\n[player]\ndelay_s = -0.1\n", "a number from 0 to 0.5"},
        {"version = 1\n[output]\ncable = \"five-pin\"\n", "one of \"free\", \"din\""},
    };
    for (const Row& row : of_configuration) {
        CAPTURE(row.text);
        const auto problems = problems_of_configuration(row.text);
        REQUIRE(problems.size() == 1);
        CHECK(problems[0].line().find(row.says) != std::string::npos);
        CHECK(problems[0].line().find("bowarm.toml:3:") != std::string::npos);
    }
    constexpr Row of_technique[] = {
        {"speaks_after_s = 0.6\n", "a number from 0 to 0.5"},
        {"connected_speaks_after_s = \"late\"\n", "a number from 0 to 0.5"},
        {"speaks_afer_s = 0.1\n", "did you mean"},
    };
    for (const Row& row : of_technique) {
        CAPTURE(row.text);
        const auto problems = problems_of_technique(row.text);
        REQUIRE(problems.size() == 1);
        CHECK(problems[0].line().find(row.says) != std::string::npos);
    }
}

TEST_CASE("a technique that is played as another one says nothing of when it speaks")
{
    const Folder folder;
    folder.write("instruments/violin.toml", text_of_file(shipped / "instruments/violin.toml"));
    folder.write("targets/keyswitch-demo.toml", with(text_of_file(shipped / "targets/keyswitch-demo.toml"), "fallback = \"staccato\"",
                                                     "fallback = \"staccato\"\nspeaks_after_s = 0.1"));
    const auto problems = problems_of(load_configuration(folder.write("bowarm.toml", "version = 1\n"), {{}, "keyswitch-demo"}));
    REQUIRE(problems.size() == 1);
    CHECK(problems[0].line().find("stands beside a way of its own") != std::string::npos);
}
