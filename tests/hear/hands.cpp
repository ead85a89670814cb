// Who hears what: inputs, channels, splits, the player under the hands, and that everything ends where it began.
#include "hear/hands.hpp"
#include "hear/bowed_before.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }
Input from(std::uint8_t source, const Message& m) { return midi_input(Time{}, Source{source}, m); }
Channel channel(int counted_from_1) { return *Channel::from(counted_from_1 - 1); }

Controls choosing_keys()
{
    Controls c;
    c.loudness = {PersonController::control_change, n(11), n(0), n(127)};
    c.keys[12].kind = ActionKind::player;
    c.keys[12].player = 0;
    c.keys[13].kind = ActionKind::player;
    c.keys[13].player = 1;
    c.keys[14].kind = ActionKind::next_player;
    c.keys[15].kind = ActionKind::same_bow;
    c.programs[5].kind = ActionKind::previous_player;
    ControllerAction pedal{n(80), n(64), n(127), {}};
    pedal.action.kind = ActionKind::next_player;
    c.controllers.push_back(pedal);
    return c;
}

std::vector<Part> two_under_hands()
{
    std::vector<Part> parts(2);
    parts[0].under_hands = parts[1].under_hands = true;
    return parts;
}

} // namespace

TEST_CASE("a quintet from a sequencer: each player hears its channel")
{
    std::vector<Part> parts(5);
    for (int i = 0; i < 5; ++i) parts[static_cast<std::size_t>(i)].channel = channel(i + 1);
    Hands hands{parts, {}, {}};
    for (int i = 0; i < 5; ++i) {
        CHECK(hands.hear(from(0, note_on(channel(i + 1), n(60), n(80)))) == only(static_cast<std::size_t>(i)));
        CHECK(hands.hear(from(0, control_change(channel(i + 1), n(11), n(80)))) == only(static_cast<std::size_t>(i)));
    }
    CHECK(hands.hear(from(0, note_on(channel(6), n(60), n(80)))) == 0);
    CHECK(hands.hear(from(0, {{0xF8}, 1})) == 0x1F); // the clock is everybody's
    CHECK(hands.hear(tempo_input(Time{}, 500'000)) == 0x1F);
    CHECK(hands.hear(command_input(Time{}, Command::panic)) == 0x1F);
    CHECK(hands.hear(command_input(Time{}, Command::panic, 0, 3)) == only(2));
}

TEST_CASE("sixty-four players")
{
    Hands hands{std::vector<Part>(64), {}, {}};
    CHECK(hands.hear(from(0, note_on(Channel{}, n(60), n(80)))) == ~PlayerSet{0});
}

TEST_CASE("inputs have roles and channels")
{
    const InputFilter filters[] = {
        {InputRole::all, std::nullopt}, {InputRole::playing, channel(2)}, {InputRole::controllers, {}}, {InputRole::time, {}}};
    std::vector<Part> parts(1);
    Hands hands{parts, filters, {}};
    const Message key = note_on(channel(2), n(60), n(80)), pedal = control_change(channel(2), n(11), n(80)), clock{{0xF8}, 1};
    struct Row {
        std::uint8_t source;
        Message message;
        bool heard;
    };
    const Row rows[] = {{0, key, true},    {0, clock, true},  {1, key, true},  {1, note_on(channel(1), n(60), n(80)), false},
                        {1, clock, false}, {2, pedal, true},  {2, key, false}, {2, clock, false},
                        {3, clock, true},  {3, pedal, false}, {3, key, false}};
    for (const Row& row : rows) {
        CAPTURE(int{row.source});
        CAPTURE(int{row.message.bytes[0]});
        CHECK((hands.hear(from(row.source, row.message)) != 0) == row.heard);
    }
}

TEST_CASE("a split gives each hand a player, transposed, and control keys to both")
{
    std::vector<Part> parts(2);
    parts[0].to = n(59);
    parts[0].transpose = -12;
    parts[1].from = n(60);
    Hands hands{parts, {}, choosing_keys()};
    const Input low = from(0, note_on(Channel{}, n(48), n(80)));
    CHECK(hands.hear(low) == only(0));
    CHECK(hands.as_heard(low, 0)->data[1] == 36);
    CHECK(hands.hear(from(0, note_on(Channel{}, n(60), n(80)))) == only(1));
    const Input control = from(0, note_on(Channel{}, n(15), n(80)));
    CHECK(hands.hear(control) == 3);
    CHECK(hands.as_heard(control, 0)->data[1] == 15);
    // What would land on a control key, or beyond the keyboard, is nothing.
    CHECK_FALSE(hands.as_heard(from(0, note_on(Channel{}, n(27), n(80))), 0).has_value());
    CHECK_FALSE(hands.as_heard(from(0, note_on(Channel{}, n(5), n(80))), 0).has_value());
}

TEST_CASE("the player under the hands is chosen by key, pedal, program and command, and a note ends on the player it began on")
{
    Hands hands{two_under_hands(), {}, choosing_keys()};
    CHECK(hands.chosen() == 0);
    CHECK(hands.hear(from(0, note_on(Channel{}, n(60), n(80)))) == only(0));
    CHECK(hands.hear(from(0, note_on(Channel{}, n(13), n(80)))) == 0);
    CHECK(hands.chosen() == 1);
    CHECK(hands.hear(from(0, note_on(Channel{}, n(62), n(80)))) == only(1));
    CHECK(hands.hear(from(0, note_off(Channel{}, n(60)))) == only(0));
    CHECK(hands.hear(from(0, note_off(Channel{}, n(62)))) == only(1));

    hands.hear(from(0, control_change(Channel{}, n(80), n(127))));
    CHECK(hands.chosen() == 0);
    hands.hear(from(0, control_change(Channel{}, n(80), n(0))));
    CHECK(hands.chosen() == 0);
    hands.hear(from(0, program_change(Channel{}, n(5))));
    CHECK(hands.chosen() == 1);
    hands.hear(command_input(Time{}, Command::choose_player, 0));
    CHECK(hands.chosen() == 0);
    hands.hear(command_input(Time{}, Command::choose_player, 7)); // nobody
    CHECK(hands.chosen() == 0);
}

TEST_CASE("a key struck again under another player ends on both, and a pedal and a bend end where they began")
{
    Hands hands{two_under_hands(), {}, choosing_keys()};
    hands.hear(from(0, note_on(Channel{}, n(60), n(80))));
    CHECK(hands.hear(from(0, control_change(Channel{}, n(64), n(127)))) == only(0));
    CHECK(hands.hear(from(0, pitch_bend(Channel{}, Midi14::nearest(9000)))) == only(0));
    hands.hear(from(0, note_on(Channel{}, n(13), n(80))));
    hands.hear(from(0, note_on(Channel{}, n(60), n(80)))); // no note-off in between: a sequencer does that
    CHECK(hands.hear(from(0, note_off(Channel{}, n(60)))) == 3);
    CHECK(hands.hear(from(0, control_change(Channel{}, n(64), n(0)))) == 3);
    CHECK(hands.hear(from(0, pitch_bend(Channel{}, Midi14::nearest(8192)))) == 3);
    CHECK(hands.hear(from(0, control_change(Channel{}, n(64), n(127)))) == only(1)); // from now on only there
    CHECK(hands.hear(from(0, pitch_bend(Channel{}, Midi14::nearest(9000)))) == only(1));
}

TEST_CASE("the pedals' newest places are there for whoever is chosen next")
{
    Hands hands{two_under_hands(), {}, choosing_keys()};
    hands.hear(from(0, control_change(Channel{}, n(11), n(30))));
    hands.hear(from(0, control_change(Channel{}, n(11), n(40))));
    REQUIRE(hands.pedals().size() == 1);
    CHECK(hands.pedals()[0].data[2] == 40);
    Hands after{two_under_hands(), {}, choosing_keys()};
    hands.choose(1);
    after.take_up(hands);
    CHECK(after.chosen() == 1);
    CHECK(after.pedals().size() == 1);
}

TEST_CASE("keys that are down are known until they are up, or their input is gone")
{
    Hands hands{std::vector<Part>(1), {}, {}};
    hands.hear(from(0, note_on(Channel{}, n(60), n(80))));
    hands.hear(from(1, note_on(Channel{}, n(60), n(80))));
    CHECK(hands.any_key_down());
    hands.hear(from(0, note_off(Channel{}, n(60))));
    CHECK(hands.any_key_down());
    hands.hear({Time{}, Source{1}, InputKind::port_lost, {}});
    CHECK_FALSE(hands.any_key_down());
}

TEST_CASE("a marked stream passes, a note that began before the mark ends unmarked, and a lost input ends what passed")
{
    BowedBefore bowed;
    CHECK_FALSE(bowed.hear(0, note_on(Channel{}, n(60), n(80))));
    CHECK(bowed.hear(0, bowed_mark(Channel{})));
    CHECK_FALSE(bowed.hear(0, note_off(Channel{}, n(60))));
    CHECK(bowed.hear(0, note_on(Channel{}, n(62), n(80))));
    CHECK_FALSE(bowed.hear(1, note_on(Channel{}, n(62), n(80))));                          // another input
    CHECK_FALSE(bowed.hear(0, note_on(channel(2), n(62), n(80))));                         // another channel
    CHECK_FALSE(bowed.hear(0, control_change(Channel{}, n(bowed_mark_controller), n(0)))); // taken back
    CHECK(bowed.hear(0, note_off(Channel{}, n(62))));                                      // but begun under the mark
    bowed.hear(0, bowed_mark(Channel{}));
    bowed.hear(0, note_on(Channel{}, n(64), n(80)));
    std::vector<Message> ended;
    bowed.release(0, [&](const Message& m) { ended.push_back(m); });
    CHECK(ended == std::vector<Message>{note_off(Channel{}, n(64))});
    CHECK(bowed.hear(0, note_on(Channel{}, n(64), n(80)))); // the stream is the same
    bowed.forget_marks(0);
    CHECK(bowed.hear(0, note_off(Channel{}, n(64))));
    CHECK_FALSE(bowed.hear(0, note_on(Channel{}, n(64), n(80))));
}

TEST_CASE("a key, pedal or program for takes reaches the first player of the input, for all, whoever is under the hands")
{
    Controls controls = choosing_keys();
    controls.keys[16].kind = ActionKind::take;
    controls.programs[6].kind = ActionKind::keep_take;
    ControllerAction pedal{n(81), n(64), n(127), {}};
    pedal.action.kind = ActionKind::take;
    controls.controllers.push_back(pedal);
    Hands hands{two_under_hands(), {}, controls};
    REQUIRE(hands.choose(1));
    CHECK(hands.hear(from(0, note_on(Channel{}, n(60), n(80)))) == only(1));
    CHECK(hands.hear(from(0, note_on(Channel{}, n(16), n(80)))) == (only(0) | only(1)));
    CHECK(hands.hear(from(0, note_off(Channel{}, n(16)))) == (only(0) | only(1)));
    CHECK(hands.hear(from(0, {{0xC0, 6}, 2})) == (only(0) | only(1)));
    CHECK(hands.hear(from(0, control_change(Channel{}, n(81), n(127)))) == (only(0) | only(1)));
}

TEST_CASE("that new players take over is heard by none")
{
    Hands hands{two_under_hands(), {}, {}};
    CHECK(hands.hear({Time{}, source_service, InputKind::configured, {}}) == 0);
}
