// Takes by key, pedal, program and command, and the laps of a sequencer's cycle.
#include "take/take_controls.hpp"

#include <doctest/doctest.h>

#include <vector>

using namespace bowarm;

namespace
{

Input played(const Message& m) { return midi_input(Time{}, {0}, m); }
Input system_message(std::uint8_t status, int low = 0, int high = 0)
{
    const std::uint8_t size = status == 0xF2 ? 3 : 1;
    return played({{status, static_cast<std::uint8_t>(low), static_cast<std::uint8_t>(high)}, size});
}
Controls controls()
{
    Controls c;
    c.keys[12].kind = ActionKind::take;
    c.keys[13].kind = ActionKind::hear_take;
    c.programs[3].kind = ActionKind::keep_take;
    c.controllers.push_back({Midi7::nearest(66), Midi7::nearest(64), Midi7::nearest(127), {ActionKind::keep_take, {}, {}, {}}});
    return c;
}
Input pedal(int value) { return played(control_change(Channel{}, Midi7::nearest(66), Midi7::nearest(value))); }

// MIDI 1.0: 24 clocks a quarter.
bool any_goes_back(SongPlace& place, int clocks)
{
    bool back = false;
    for (int i = 0; i < clocks; ++i) back = place.went_back(system_message(0xF8)) || back;
    return back;
}

} // namespace

TEST_CASE("keys, programs and commands say what is to become of the take")
{
    TakeControls heard{controls()};
    CHECK(heard.heard(played(note_on(Channel{}, Midi7::nearest(12), Midi7::nearest(50)))) == TakeAction::begin_or_end);
    CHECK(heard.heard(played(note_off(Channel{}, Midi7::nearest(12)))) == TakeAction::none);
    CHECK(heard.heard(played(note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(50)))) == TakeAction::none);
    CHECK(heard.heard(played(program_change(Channel{}, Midi7::nearest(3)))) == TakeAction::keep);
    CHECK(heard.heard(command_input(Time{}, Command::take_begin)) == TakeAction::begin);
    CHECK(heard.heard(command_input(Time{}, Command::take_end)) == TakeAction::end);
    CHECK(heard.heard(command_input(Time{}, Command::keep_take)) == TakeAction::keep);
    CHECK(heard.heard(played(note_on(Channel{}, Midi7::nearest(13), Midi7::nearest(50)))) == TakeAction::hear);
    CHECK(heard.heard(command_input(Time{}, Command::hear_take)) == TakeAction::hear);
    CHECK(heard.heard(command_input(Time{}, Command::panic)) == TakeAction::none);
}

TEST_CASE("a pedal that sends its whole way down counts once, and again after it was up")
{
    TakeControls heard{controls()};
    int count = 0;
    for (const int value : {0, 30, 63, 64, 90, 127, 100, 70, 20, 80}) count += heard.heard(pedal(value)) == TakeAction::keep ? 1 : 0;
    CHECK(count == 2);
}

TEST_CASE("other channels than the configured one say nothing")
{
    Controls c = controls();
    c.channel = Channel::from(4);
    TakeControls heard{c};
    CHECK(heard.heard(played(note_on(Channel{}, Midi7::nearest(12), Midi7::nearest(50)))) == TakeAction::none);
    CHECK(heard.heard(played(note_on(*Channel::from(4), Midi7::nearest(12), Midi7::nearest(50)))) == TakeAction::begin_or_end);
}

TEST_CASE("a locate back, or a start after the song has run, is another pass, a locate forward is not")
{
    SongPlace place;
    CHECK_FALSE(place.went_back(system_message(0xFA)));
    CHECK_FALSE(any_goes_back(place, 200));
    CHECK_FALSE(place.went_back(system_message(0xF2, 48, 0))); // sixteenth 48: clock 288
    CHECK_FALSE(place.went_back(system_message(0xFB)));
    CHECK_FALSE(any_goes_back(place, 10));
    CHECK(place.went_back(system_message(0xF2, 48, 0)));
    CHECK_FALSE(place.went_back(system_message(0xF2, 0, 1))); // the high half counts 128
    CHECK(place.went_back(system_message(0xFA)));
}

TEST_CASE("clocks that come while the sequencer stands do not move the song")
{
    SongPlace place;
    CHECK_FALSE(any_goes_back(place, 500));
    CHECK_FALSE(place.went_back(system_message(0xFA)));
    CHECK_FALSE(any_goes_back(place, 5));
    CHECK_FALSE(place.went_back(system_message(0xFC)));
    CHECK_FALSE(any_goes_back(place, 500));
    CHECK(place.went_back(system_message(0xF2, 0, 0))); // back by five clocks
}
