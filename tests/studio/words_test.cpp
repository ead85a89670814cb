#include "studio/controller_names.hpp"
#include "studio/folders.hpp"
#include "studio/key_names.hpp"
#include "studio/nearest_word.hpp"
#include "take/words.hpp"

#include <cstdlib>
#include <doctest/doctest.h>
#include <string>

using namespace bowarm;

namespace
{

// Puts an environment variable back when the test ends.
class Environment
{
public:
    Environment(const char* name, const char* value) : name_(name)
    {
        if (const char* old = std::getenv(name)) old_ = old;
        if (value) {
            ::setenv(name, value, 1);
        } else {
            ::unsetenv(name);
        }
    }
    ~Environment()
    {
        if (old_) {
            ::setenv(name_, old_->c_str(), 1);
        } else {
            ::unsetenv(name_);
        }
    }
    Environment(const Environment&) = delete;
    Environment& operator=(const Environment&) = delete;

private:
    const char* name_;
    std::optional<std::string> old_;
};

} // namespace

// MIDI 1.0 Detailed Specification: key 60 is middle C, 69 is 440 Hz; scientific pitch notation calls middle C C4.
TEST_CASE("keys by name")
{
    struct Row {
        const char* name;
        int key;
    };
    constexpr Row rows[] = {{"C4", 60},  {"A4", 69},  {"C-1", 0},  {"G9", 127}, {"F#3", 54}, {"Bb2", 46}, {"C1", 24},
                            {"Cb4", 59}, {"B#3", 60}, {"E#4", 65}, {"bb2", 46}, {"b2", 47},  {"G3", 55},  {"E1", 28}};
    for (const Row& row : rows) {
        CAPTURE(row.name);
        REQUIRE(key_of_name(row.name));
        CHECK(key_of_name(row.name)->get() == row.key);
    }
    for (const char* none : {"", "C", "H4", "4", "C4 ", " C4", "C##4", "G#9", "Cb-1", "C10", "C-2", "C4.0", "C+4"}) {
        CAPTURE(none);
        CHECK(!key_of_name(none));
    }
}

TEST_CASE("every key is read back from the name it is given")
{
    for (int key = 0; key < 128; ++key) {
        const auto read = key_of_name(key_word(static_cast<std::uint8_t>(key)));
        REQUIRE(read);
        CHECK(read->get() == key);
    }
}

TEST_CASE("controllers by name")
{
    CHECK(person_control_of("cc 11")->number.get() == 11);
    CHECK(person_control_of("channel pressure")->kind == PersonController::channel_pressure);
    CHECK(person_control_of("none")->kind == PersonController::none);
    for (const char* wrong : {"", "cc", "cc ", "cc -1", "cc 128", "cc 0", "cc 120", "cc11", "11", "cc 1.5", "CC 11", "pitch bend"}) {
        CAPTURE(wrong);
        CHECK(!person_control_of(wrong));
    }
    const Channel channel = *Channel::from(3);
    CHECK(controller_of("cc 1 fine", channel)->kind == ControllerKind::control_change_14);
    CHECK(controller_of("cc 119", channel)->number.get() == 119);
    CHECK(controller_of("pitch bend", channel)->highest() == 16383);
    CHECK(controller_of("cc 1", channel)->channel == channel);
    for (const char* wrong : {"none", "cc 33 fine", "cc 0 fine", "cc fine", " fine", "cc  fine"}) {
        CAPTURE(wrong);
        CHECK(!controller_of(wrong, channel));
    }
}

TEST_CASE("the distance between words is Levenshtein's")
{
    CHECK(edit_distance("kitten", "sitting") == 3); // the textbook example
    CHECK(edit_distance("", "abc") == 3);
    CHECK(edit_distance("abc", "") == 3);
    CHECK(edit_distance("abc", "abc") == 0);
}

TEST_CASE("a suggestion is made only where one is near")
{
    constexpr std::string_view known[] = {"tempo", "meter"};
    CHECK(nearest_word("temp", known) == "tempo");
    CHECK(nearest_word("metre", known) == "meter");
    CHECK(nearest_word("instrument", known).empty());
    CHECK(nearest_word(std::string(5000, 't'), known).empty());
    CHECK(suggestion("instrument", known) == "known: tempo, meter");
}

TEST_CASE("what is shown stays on one line and whole in its letters")
{
    CHECK(shown("a\nb\x1b[31m") == "a?b?[31m");
    const std::string long_word = std::string(59, 'a') + "\xC3\xA9" + "more";
    CHECK(shown(long_word) == std::string(59, 'a') + "...");
}

// XDG Base Directory Specification 0.8.
TEST_CASE("folders follow the environment")
{
    const Environment home{"HOME", "/home/someone"};
    SUBCASE("the person's own")
    {
        const Environment config{"XDG_CONFIG_HOME", "/c"};
        CHECK(config_home() == "/c");
    }
    SUBCASE("relative values are ignored")
    {
        const Environment config{"XDG_CONFIG_HOME", "c"};
        CHECK(config_home() == "/home/someone/.config");
    }
    SUBCASE("the data folder that is named is the only one")
    {
        const Environment data{"BOWARM_DATA", "/d"};
        REQUIRE(data_folders().size() == 1);
        CHECK(data_folders()[0] == "/d");
    }
    SUBCASE("else beside the program, then the person's, then the system's")
    {
        const Environment data{"BOWARM_DATA", nullptr}, own{"XDG_DATA_HOME", nullptr}, dirs{"XDG_DATA_DIRS", "/x:relative:/y"};
        const auto folders = data_folders();
        REQUIRE(folders.size() == 4);
        CHECK(folders[0].string().ends_with("/share/bowarm"));
        CHECK(folders[1] == "/home/someone/.local/share/bowarm");
        CHECK(folders[2] == "/x/bowarm");
        CHECK(folders[3] == "/y/bowarm");
    }
    SUBCASE("paths in a file")
    {
        CHECK(resolved("~/takes", "/f") == "/home/someone/takes");
        CHECK(resolved("takes", "/f") == "/f/takes");
        CHECK(resolved("/t", "/f") == "/t");
    }
}
