// The questions of `bowarmd setup`, answered from a script of keys played and lines typed.
#include "studio/files.hpp"
#include "studio/setup_talk.hpp"

#include <deque>

using namespace bowarm;
using namespace studio_test;

namespace
{

class ScriptedTalk final : public Talk
{
public:
    void say(std::string_view line) override { said += std::string{line} + "\n"; }
    void show(std::string_view line) override { say(line); }
    Turn next() override
    {
        if (turns_.empty()) return NoMoreAnswers{};
        Turn turn = std::move(turns_.front());
        turns_.pop_front();
        return turn;
    }
    ScriptedTalk& type(const std::string& line)
    {
        turns_.push_back(line);
        return *this;
    }
    ScriptedTalk& move(int number, std::initializer_list<int> values)
    {
        for (const int v : values) turns_.push_back(control_change({}, Midi7::nearest(number), Midi7::nearest(v)));
        return *this;
    }
    ScriptedTalk& press(int key)
    {
        turns_.push_back(note_on({}, Midi7::nearest(key), Midi7::nearest(70)));
        turns_.push_back(note_off({}, Midi7::nearest(key)));
        return *this;
    }
    std::string said;

private:
    std::deque<Turn> turns_;
};

const Settings& settings()
{
    static const Loaded loaded = load_configuration(shipped / "bowarm.toml", {});
    return std::get<Settings>(loaded);
}
ControlsWish controls(Talk& talk) { return ask_for_controls(talk, settings().player.controls, settings().player.instrument); }

} // namespace

TEST_CASE("pedals and keys are kept as they were shown")
{
    ScriptedTalk talk;
    talk.move(4, {64, 120, 60, 3}).type("");     // loudness, the other way round
    talk.type("none");                           // no contact point
    talk.move(66, {127, 0}).type("");            // a pedal that is not 64
    talk.press(24).type("").press(25).type("s"); // detache on C1; legato is left
    talk.type("done");
    const ControlsWish wish = controls(talk);
    REQUIRE(wish.values.size() == 4);
    CHECK(wish.values[0] == std::pair<std::string, std::string>{"loudness", "\"cc 4\""});
    CHECK(wish.values[1] == std::pair<std::string, std::string>{"loudness_from", "120"});
    CHECK(wish.values[2] == std::pair<std::string, std::string>{"loudness_to", "3"});
    CHECK(wish.values[3] == std::pair<std::string, std::string>{"contact_point", "\"none\""});
    REQUIRE(wish.controllers.size() == 1);
    CHECK(wish.controllers[0].number.get() == 66);
    REQUIRE(wish.keys.size() == 1);
    CHECK(wish.keys[0].does == "technique detache");
    CHECK(wish.keys[0].key.get() == 24);
    CHECK(talk.said.find("cc 4, from 3 to 120, the other way round") != std::string::npos);
}

TEST_CASE("what cannot be right is not kept, and told why")
{
    ScriptedTalk talk;
    talk.type("");                                           // nothing heard
    talk.move(11, {50, 60, 70}).type("");                    // a part of the way
    talk.move(11, {0, 127}).type("");                        // now all of it
    talk.move(11, {5, 60, 127}).type("");                    // contact point on the same pedal
    talk.type("again").move(1, {0, 50, 127}).type("");       // the wheel
    talk.move(64, {0, 127}).type("").type("s");              // a sustain pedal that is turned round
    talk.press(69).type("").press(24).type("");              // A4 is a note of the violin
    talk.press(24).type("").press(26).type("").type("done"); // C1 is taken
    const ControlsWish wish = controls(talk);
    for (const char* part : {"nothing heard yet", "only a part of the way", "it is loudness already",
                             "it says that it is down when it is up", "A4: a note of the violin", "it is \"technique detache\" already"})
        CHECK_MESSAGE(talk.said.find(part) != std::string::npos, part);
    REQUIRE(wish.keys.size() == 2);
    CHECK(wish.keys[0].key.get() == 24);
    CHECK(wish.keys[1].does == "technique legato");
    CHECK(wish.keys[1].key.get() == 26);
    CHECK(wish.controllers.empty());
}

TEST_CASE("leaving is a choice, running out of answers is not")
{
    ScriptedTalk quits, ends;
    quits.type("q");
    for (ScriptedTalk* talk : {&quits, &ends}) {
        try {
            controls(*talk);
            FAIL("it went on without answers");
        } catch (const Left& left) {
            CHECK(left.by_choice() == (talk == &quits));
        }
    }
}

TEST_CASE("one key is a keyswitch, two are its down-bow and its up-bow")
{
    ScriptedTalk talk;
    talk.press(0).press(1).type("");                // detache: a pair
    talk.press(5).type("again").press(2).type("");  // legato, after a slip
    talk.press(69).type("").type("s").type("done"); // portato: a note is none
    const auto wishes = ask_for_keyswitches(talk, settings().player.instrument);
    REQUIRE(wishes.size() == 2);
    CHECK(wishes[0].technique == Technique::detache);
    CHECK(wishes[0].key.get() == 0);
    CHECK(wishes[0].up == Midi7::nearest(1));
    CHECK(wishes[1].technique == Technique::legato);
    CHECK(wishes[1].key.get() == 2);
    CHECK(!wishes[1].up);
    CHECK(talk.said.find("A4 is a note of the violin") != std::string::npos);
}
