#include "studio/files.hpp"
#include "studio/keyswitches_text.hpp"
#include "studio/target_file.hpp"
#include "studio/toml_reader.hpp"

using namespace bowarm;
using namespace studio_test;

namespace
{

TargetSpec target_in(const std::string& text)
{
    TomlRead read = read_toml_text("target.toml", text);
    REQUIRE(std::holds_alternative<TomlFile>(read));
    std::vector<Problem> problems;
    const auto target = target_of(std::get<TomlFile>(read), nullptr, problems);
    REQUIRE_MESSAGE(target.has_value(), lines(problems) << text);
    return *target;
}

const TechniqueWay& way(const TargetSpec& target, Technique t) { return target.techniques[static_cast<std::size_t>(t)]; }

} // namespace

TEST_CASE("keyswitches that were shown select the techniques, and the rest of the target stays")
{
    const std::string before = text_of_file(shipped / "targets/stand-in.toml");
    const std::string after = with_keyswitches(before, "mine",
                                               {{Technique::detache, Midi7::nearest(12), Midi7::nearest(13)},
                                                {Technique::spiccato, Midi7::nearest(14), {}},
                                                {Technique::harmonic, Midi7::nearest(15), {}}});
    const TargetSpec old = target_in(before), now = target_in(after);
    CHECK(std::string{now.name.data()} == "mine");
    CHECK(way(now, Technique::detache).down.steps[0].number.get() == 12);
    CHECK(way(now, Technique::detache).up.steps[0].number.get() == 13);
    CHECK(way(now, Technique::spiccato).down.steps[0].number.get() == 14);
    CHECK(way(now, Technique::spiccato).up.steps[0].number.get() == 14);
    CHECK(way(now, Technique::spiccato).sounds_for == way(old, Technique::spiccato).sounds_for);
    CHECK(way(now, Technique::spiccato).velocity == way(old, Technique::spiccato).velocity);
    CHECK(way(now, Technique::harmonic).present); // a fallback before
    CHECK(way(now, Technique::harmonic).down.steps[0].number.get() == 15);
    CHECK(way(now, Technique::legato).down.steps[0].number == way(old, Technique::legato).down.steps[0].number);
    CHECK(now.curves.size() == old.curves.size());
}

TEST_CASE("only the lines of what was shown change")
{
    const char* before =
        "name = \"a\" # first\n[technique.detache]\ndown = {keyswitch = \"C0\"} # d\nup = {keyswitch = \"C#0\"}\nsustains = true # s\n"
        "\n# tail\n[technique.tremolo]\nswitch = {keyswitch = 7, held = true} # h\n[technique.legato]\nfallback = \"detache\"\n";
    CHECK(with_keyswitches(before, "", {}) == before);
    CHECK(with_keyswitches(before, "b",
                           {{Technique::detache, Midi7::nearest(24), {}},
                            {Technique::tremolo, Midi7::nearest(25), {}},
                            {Technique::legato, Midi7::nearest(26), Midi7::nearest(27)}}) ==
          "name = \"b\" # first\n[technique.detache]\nswitch = {keyswitch = \"C1\"}\nsustains = true # s\n\n# tail\n[technique.tremolo]\n"
          "switch = {keyswitch = \"C#1\", held = true} # h\n[technique.legato]\ndown = {keyswitch = \"D1\"}\nup = {keyswitch = \"D#1\"}\n");
}

TEST_CASE("a target of programs becomes one of keyswitches where keys were shown")
{
    const std::string after =
        with_keyswitches(text_of_file(shipped / "targets/keyswitch-demo.toml"), "", {{Technique::pizzicato, Midi7::nearest(20), {}}});
    CHECK(way(target_in(after), Technique::pizzicato).down.steps[0].number.get() == 20);
    const std::string general = with_keyswitches("version = 1\nname = \"g\"\n[technique.pizzicato]\nswitch = {program = 46}\n", "",
                                                 {{Technique::pizzicato, Midi7::nearest(20), {}}});
    CHECK(general == "version = 1\nname = \"g\"\n[technique.pizzicato]\nswitch = {keyswitch = \"G#0\"}\n");
}
