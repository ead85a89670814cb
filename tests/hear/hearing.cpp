#include "hear/hear.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

Controls controls()
{
    Controls c;
    c.loudness = {PersonController::control_change, Midi7::nearest(11)};
    c.contact_point = {PersonController::control_change, Midi7::nearest(74)};
    c.keys[12] = {ActionKind::select_technique, Technique::spiccato};
    c.keys[13] = {ActionKind::same_bow, {}};
    c.keys[14] = {ActionKind::bypass, {}};
    c.controllers.push_back(
        {Midi7::nearest(80), Midi7::nearest(0), Midi7::nearest(63), {ActionKind::select_technique, Technique::detache}});
    c.controllers.push_back(
        {Midi7::nearest(80), Midi7::nearest(64), Midi7::nearest(127), {ActionKind::select_technique, Technique::tremolo}});
    return c;
}

Gesture heard(Hearing& h, const Message& m) { return h.hear(midi_input(Time{}, Source{0}, m)); }
constexpr Midi7 n(int i) { return Midi7::nearest(i); }

} // namespace

TEST_CASE("each message of a person has one meaning")
{
    struct Row {
        const char* why;
        Message message;
        GestureKind expect;
    };
    const Row rows[] = {
        {"a key", note_on(Channel{}, n(60), n(80)), GestureKind::key_down},
        {"a note-on with velocity 0 is a note-off (MIDI 1.0)", note_on(Channel{}, n(60), n(0)), GestureKind::key_up},
        {"a note-off", note_off(Channel{}, n(60)), GestureKind::key_up},
        {"the loudness controller", control_change(Channel{}, n(11), n(64)), GestureKind::loudness},
        {"the contact point", control_change(Channel{}, n(74), n(64)), GestureKind::contact_point},
        {"a control key", note_on(Channel{}, n(12), n(1)), GestureKind::technique},
        {"its release means nothing", note_off(Channel{}, n(12)), GestureKind::none},
        {"the sustain pedal is the same bow by default", control_change(Channel{}, n(64), n(127)), GestureKind::same_bow},
        {"vibrato passes", control_change(Channel{}, n(1), n(30)), GestureKind::pass},
        {"pitch bend passes", pitch_bend(Channel{}, Midi14::nearest(9000)), GestureKind::pass},
        {"a program change would undo the arm's choice", program_change(Channel{}, n(3)), GestureKind::none},
        {"bank select belongs to it", control_change(Channel{}, n(32), n(3)), GestureKind::none},
        {"all notes off (MIDI 1.0, channel mode 123)", control_change(Channel{}, n(123), n(0)), GestureKind::release_source},
        {"mono on implies all notes off (MIDI 1.0, 126)", control_change(Channel{}, n(126), n(1)), GestureKind::release_source},
        {"reset all controllers ends no note", control_change(Channel{}, n(121), n(0)), GestureKind::none},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        Hearing h(controls());
        CHECK((heard(h, r.message).kind == r.expect));
    }
}

TEST_CASE("clocks are heard on every channel setting (MIDI 1.0: system messages have no channel)")
{
    struct Row {
        Message message;
        GestureKind expect;
        std::uint32_t number;
    };
    const Row rows[] = {
        {{{0xF8, 0, 0}, 1}, GestureKind::clock, 0},
        {{{0xFA, 0, 0}, 1}, GestureKind::clock_start, 0},
        {{{0xFB, 0, 0}, 1}, GestureKind::clock_continue, 0},
        {{{0xFC, 0, 0}, 1}, GestureKind::clock_stop, 0},
        {{{0xF2, 5, 1}, 3}, GestureKind::song_position, 133}, // low half first
        {{{0xFE, 0, 0}, 1}, GestureKind::none, 0},
        {{{0xF6, 0, 0}, 1}, GestureKind::none, 0},
    };
    Controls c = controls();
    c.channel = Channel::from(2);
    for (const Row& r : rows) {
        Hearing h(c);
        CHECK((heard(h, r.message).kind == r.expect));
        CHECK(heard(h, r.message).number == r.number);
    }
}

TEST_CASE("the beat is tapped with a key, a controller or a command")
{
    Controls c = controls();
    c.keys[15] = {ActionKind::tap_beat, {}};
    c.controllers.push_back({n(81), n(64), n(127), {ActionKind::tap_bar, {}}});
    Hearing h(c);
    CHECK((heard(h, note_on(Channel{}, n(15), n(9))).kind == GestureKind::tap_beat));
    CHECK((heard(h, note_off(Channel{}, n(15))).kind == GestureKind::none));
    CHECK((heard(h, control_change(Channel{}, n(81), n(127))).kind == GestureKind::tap_bar));
    CHECK((heard(h, control_change(Channel{}, n(81), n(0))).kind == GestureKind::none));
    CHECK((h.hear(command_input(Time{}, Command::tap_beat)).kind == GestureKind::tap_beat));
    CHECK((h.hear(command_input(Time{}, Command::tap_bar)).kind == GestureKind::tap_bar));
}

TEST_CASE("a pedal is on at 64 and above, off at 63 and below (MIDI 1.0, controller numbers)")
{
    Hearing h(controls());
    CHECK(heard(h, control_change(Channel{}, n(64), n(64))).on);
    CHECK(!heard(h, control_change(Channel{}, n(64), n(63))).on);
}

TEST_CASE("ranges of one controller choose techniques")
{
    Hearing h(controls());
    CHECK((heard(h, control_change(Channel{}, n(80), n(10))).technique == Technique::detache));
    CHECK((heard(h, control_change(Channel{}, n(80), n(100))).technique == Technique::tremolo));
}

TEST_CASE("the middle of the contact controller is exactly ordinary")
{
    Hearing h(controls());
    CHECK(heard(h, control_change(Channel{}, n(74), n(64))).value == 0.5);
    CHECK(heard(h, control_change(Channel{}, n(74), n(0))).value == 0.0);
    CHECK(heard(h, control_change(Channel{}, n(74), n(127))).value == 1.0);
}

TEST_CASE("a pedal that does not reach its ends, or works the other way round, gives the whole range all the same")
{
    struct Row {
        const char* why;
        int from, to, sent;
        double loudness;
    };
    constexpr Row rows[] = {
        {"its own soft end", 12, 112, 12, 0.0},   {"its own loud end", 12, 112, 112, 1.0},   {"the middle between", 12, 112, 62, 0.5},
        {"below its soft end", 12, 112, 3, 0.0},  {"above its loud end", 12, 112, 127, 1.0}, {"turned: up is soft", 127, 0, 127, 0.0},
        {"turned: down is loud", 127, 0, 0, 1.0}, {"turned and short", 110, 10, 60, 0.5},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        Controls c = controls();
        c.loudness.from = n(row.from);
        c.loudness.to = n(row.to);
        Hearing by_controller(c);
        CHECK(heard(by_controller, control_change(Channel{}, n(11), n(row.sent))).value == doctest::Approx(row.loudness));
        c.loudness.kind = PersonController::channel_pressure;
        Hearing by_pressure(c);
        CHECK(heard(by_pressure, channel_pressure(Channel{}, n(row.sent))).value == doctest::Approx(row.loudness));
    }
}

TEST_CASE("a contact wheel turned round goes to the bridge at its low end")
{
    Controls c = controls();
    c.contact_point.from = n(127);
    c.contact_point.to = n(0);
    Hearing h(c);
    CHECK(heard(h, control_change(Channel{}, n(74), n(0))).value == doctest::Approx(1.0));
    CHECK(heard(h, control_change(Channel{}, n(74), n(127))).value == doctest::Approx(0.0));
}

TEST_CASE("the bypass key toggles and same bow holds while its key is down")
{
    Hearing h(controls());
    CHECK(heard(h, note_on(Channel{}, n(14), n(9))).on);
    CHECK((heard(h, note_off(Channel{}, n(14))).kind == GestureKind::none));
    CHECK(!heard(h, note_on(Channel{}, n(14), n(9))).on);
    CHECK(heard(h, note_on(Channel{}, n(13), n(9))).on);
    CHECK(!heard(h, note_off(Channel{}, n(13))).on);
}

TEST_CASE("the key for free alternation toggles, its controller says which, and the command as well")
{
    Controls c = controls();
    c.keys[15] = {ActionKind::alternate, {}};
    c.controllers.push_back({n(81), n(64), n(127), {ActionKind::alternate, {}}});
    Hearing h(c);
    const auto on = [&](const Message& m) {
        const Gesture g = heard(h, m);
        CHECK((g.kind == GestureKind::alternate));
        return g.on;
    };
    CHECK(on(note_on(Channel{}, n(15), n(9))));
    CHECK((heard(h, note_off(Channel{}, n(15))).kind == GestureKind::none));
    CHECK(on(control_change(Channel{}, n(81), n(64))));
    CHECK(!on(control_change(Channel{}, n(81), n(63))));
    CHECK((h.hear(command_input(Time{}, Command::alternate_on)).kind == GestureKind::alternate));
    CHECK(!on(note_on(Channel{}, n(15), n(9)))); // the key knows what the command did
}

TEST_CASE("down bows last while their key is down, the mute toggles, a zone is a place for the bow")
{
    Controls c = controls();
    c.keys[15] = {ActionKind::down_bows, {}, {}};
    c.keys[16] = {ActionKind::mute, {}, {}};
    c.keys[17] = {ActionKind::contact_zone, {}, ContactZone::sul_tasto};
    c.controllers.push_back({n(81), n(64), n(127), {ActionKind::mute, {}, {}}});
    Hearing h(c);
    CHECK((heard(h, note_on(Channel{}, n(15), n(9))).kind == GestureKind::down_bows));
    CHECK(!heard(h, note_off(Channel{}, n(15))).on);
    CHECK(heard(h, note_on(Channel{}, n(16), n(9))).on);
    CHECK((heard(h, note_off(Channel{}, n(16))).kind == GestureKind::none));
    CHECK(!heard(h, control_change(Channel{}, n(81), n(0))).on);
    const Gesture zone = heard(h, note_on(Channel{}, n(17), n(9)));
    CHECK((zone.kind == GestureKind::contact_point));
    CHECK(zone.value == 0);
}

TEST_CASE("a program change does what the configuration says, and nothing else")
{
    Controls c = controls();
    c.programs[40] = {ActionKind::select_technique, Technique::flautando, {}};
    c.programs[41] = {ActionKind::bypass, {}, {}};
    Hearing h(c);
    CHECK((heard(h, program_change(Channel{}, n(39))).kind == GestureKind::none));
    const Gesture chosen = heard(h, program_change(Channel{}, n(40)));
    CHECK((chosen.kind == GestureKind::technique));
    CHECK((chosen.technique == Technique::flautando));
    CHECK(heard(h, program_change(Channel{}, n(41))).on);
    CHECK(!heard(h, program_change(Channel{}, n(41))).on); // once more: the other way
}

TEST_CASE("note-ons are counted in their order, control keys and other channels included")
{
    Controls c = controls();
    c.channel = Channel::from(2);
    Hearing h(c);
    CHECK((heard(h, note_on(Channel{}, n(60), n(9))).kind == GestureKind::none));
    heard(h, note_on(*Channel::from(2), n(12), n(9)));
    const Gesture g = heard(h, note_on(*Channel::from(2), n(61), n(9)));
    CHECK((g.kind == GestureKind::key_down));
    CHECK(g.note == 2);
}

TEST_CASE("a command over the socket is heard as the key or controller that means the same")
{
    Controls c;
    c.loudness = {PersonController::control_change, n(11)};
    c.contact_point = {PersonController::control_change, n(74)};
    c.keys[0] = {ActionKind::down_bows};
    c.keys[1] = {ActionKind::mute};
    c.keys[2] = {ActionKind::open_strings};
    c.keys[3] = {ActionKind::string, Technique::detache, ContactZone::ordinary, {4, 0}};
    c.keys[4] = {ActionKind::string, Technique::detache, ContactZone::ordinary, {0, 7}};
    struct Row {
        const char* why;
        Message played;
        Command command;
        std::uint8_t argument;
    };
    const Row rows[] = {
        {"loudness", control_change(Channel{}, n(11), n(100)), Command::loudness, 100},
        {"the middle of the contact point", control_change(Channel{}, n(74), n(64)), Command::contact_point, 64},
        {"down-bows on", note_on(Channel{}, n(0), n(80)), Command::down_bows_on, 0},
        {"down-bows off", note_off(Channel{}, n(0)), Command::down_bows_off, 0},
        {"the mute", note_on(Channel{}, n(1), n(80)), Command::mute_on, 0},
        {"open strings", note_on(Channel{}, n(2), n(80)), Command::open_strings_on, 0},
        {"no longer", note_off(Channel{}, n(2)), Command::open_strings_off, 0},
        {"a string by its number", note_on(Channel{}, n(3), n(80)), Command::string_on, string_argument_by_number(4)},
        {"a string by its letter", note_on(Channel{}, n(4), n(80)), Command::string_on, string_argument_by_letter(7)},
        {"let go", note_off(Channel{}, n(4)), Command::string_off, string_argument_by_letter(7)},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        Hearing by_hand{c}, by_socket{c};
        const Gesture played = heard(by_hand, row.played);
        const Gesture told = by_socket.hear(command_input(Time{}, row.command, row.argument));
        CHECK((told.kind == played.kind));
        CHECK(told.on == played.on);
        CHECK(told.value == doctest::Approx(played.value));
        CHECK((told.string == played.string));
    }
}
