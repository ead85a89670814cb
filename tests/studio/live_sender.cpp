// A sender and its port: order, bundles, stale things, silence, and a port that does not come back.
#include "live_fake.hpp"
#include "soon.hpp"

#include "studio/sender.hpp"

#include <doctest/doctest.h>

#include <chrono>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr Channel one{};

OutItem bundle_of(std::initializer_list<Message> messages)
{
    OutItem item;
    for (const Message& message : messages) item.messages[item.count++] = message;
    return item;
}
OutItem curve_of(int number, int value)
{
    OutItem item;
    item.controller = {one, ControllerKind::control_change, Midi7::nearest(number)};
    item.value = value;
    return item;
}
Message key_on(int key) { return note_on(one, Midi7::nearest(key), Midi7::nearest(90)); }
Message key_off(int key) { return note_off(one, Midi7::nearest(key)); }
Message controller(int number, int value) { return control_change(one, Midi7::nearest(number), Midi7::nearest(value)); }

struct Stage {
    explicit Stage(bool resuming = false, const Sounding& sounding = {})
    {
        sender = Sender::make(
            std::make_unique<FakeOutput>(world, "bowarm test:out"), lines->outs[0], sounding, resuming, [](std::unique_ptr<OutputPort>) {},
            lines);
        REQUIRE(soon([&] { return queue().in_use.load(); }));
    }
    ~Stage()
    {
        world->unblock();
        sender->finish();
        soon([&] { return sender->ended(); });
    }
    OutQueue& queue() { return lines->outs[0]; }
    void push(const OutItem& item)
    {
        queue().push(item);
        queue().wake.ring();
    }
    std::size_t sent()
    {
        const std::lock_guard lock{world->mutex};
        return world->sent.size();
    }

    std::shared_ptr<FakeWorld> world = std::make_shared<FakeWorld>();
    std::shared_ptr<Lines> lines = std::make_shared<Lines>();
    std::shared_ptr<Sender> sender;
};

} // namespace

TEST_CASE("threads: a sender sends bundles whole and everything in order")
{
    Stage stage;
    stage.push(bundle_of({controller(70, 20), controller(11, 60), key_on(67)}));
    CHECK(soon([&] { return stage.sent() == 3; }));
    stage.push(curve_of(11, 61));
    CHECK(soon([&] { return stage.sent() == 4; }));
    stage.push(bundle_of({key_off(67)}));
    CHECK(soon([&] { return stage.sent() == 5; }));
    const std::vector<Message> expected{controller(70, 20), controller(11, 60), key_on(67), controller(11, 61), key_off(67)};
    CHECK(stage.world->take_sent() == expected);
}

TEST_CASE("waiting curve values are replaced by newer ones, but never across a note")
{
    Pending pending;
    pending.add(curve_of(11, 1));
    pending.add(curve_of(2, 50));
    pending.add(curve_of(11, 2));
    pending.add(bundle_of({key_on(67)}));
    pending.add(curve_of(11, 3));
    pending.add(curve_of(11, 4));
    const int expected[][2] = {{11, 2}, {2, 50}, {-1, 0}, {11, 4}};
    for (const auto& [number, value] : expected) {
        REQUIRE_FALSE(pending.empty());
        CHECK((pending.front().count == 0 ? pending.front().controller.number.get() : -1) == number);
        if (number >= 0) CHECK(pending.front().value == value);
        pending.pop();
    }
    CHECK(pending.empty());
}

TEST_CASE("threads: a port that refuses for long gets nothing stale afterwards, but silence, and the state is asked for")
{
    Stage stage;
    stage.push(bundle_of({key_on(67)}));
    REQUIRE(soon([&] { return stage.sent() == 1; }));
    stage.world->take_sent();
    stage.queue().wants_state.store(false);

    stage.world->refuses.store(true);
    stage.push(bundle_of({key_off(67)}));
    stage.push(bundle_of({key_on(69)}));
    std::this_thread::sleep_for(std::chrono::milliseconds(900));
    CHECK(stage.sent() == 0);
    stage.world->refuses.store(false);
    CHECK(soon([&] { return stage.queue().wants_state.load(); }));
    const std::vector<Message> sent = stage.world->take_sent();
    REQUIRE(sent.size() >= 2);
    CHECK(sent[0] == key_off(67)); // its own note-off comes before all notes off (MIDI 1.0, channel mode messages)
    CHECK(sent[1] == controller(123, 0));
    for (const Message& message : sent) CHECK_FALSE(message.is_note_on());
    CHECK(stage.queue().dropped.load() >= 2);

    // And it plays on; the late note-off of a note that never sounded is not passed on.
    stage.push(bundle_of({key_off(69)}));
    stage.push(bundle_of({key_on(71)}));
    CHECK(soon([&] { return stage.sent() == 1; }));
    CHECK(stage.world->take_sent() == std::vector<Message>{key_on(71)});
}

TEST_CASE("threads: an overflow of the queue ends in silence and a wish for the state, and no note hangs")
{
    Stage stage;
    stage.push(bundle_of({key_on(67)}));
    REQUIRE(soon([&] { return stage.sent() == 1; }));
    stage.world->refuses.store(true);
    for (int i = 0; i < 2000; ++i) stage.queue().push(bundle_of({i % 2 == 0 ? key_on(40) : key_off(40)}));
    CHECK(stage.queue().overflowed.load());
    stage.queue().wake.ring();
    stage.world->refuses.store(false);
    CHECK(soon([&] { return stage.queue().wants_state.load(); }));
    int held = 0;
    for (const Message& message : stage.world->take_sent()) held += message.is_note_on() ? 1 : (message.is_note_off() ? -1 : 0);
    CHECK(held == 0);
}

TEST_CASE("threads: a send that does not come back is seen, given up, and leaves the queue alone for ever")
{
    Stage stage;
    {
        const std::lock_guard lock{stage.world->mutex};
        stage.world->blocks = true;
    }
    stage.push(bundle_of({key_on(67)}));
    CHECK(soon([&] { return stage.sender->stuck(); }));
    CHECK(stage.sender->abandon());
    CHECK(stage.sender->left_the_queue());
    CHECK_FALSE(stage.sender->stuck());
    stage.queue().push(bundle_of({key_on(69)}));
    stage.world->unblock();
    CHECK(soon([&] { return stage.sender->ended(); }));
    OutItem left;
    CHECK(stage.queue().pop(left)); // nobody took it
    CHECK(left.messages[0] == key_on(69));
}

TEST_CASE("threads: what was under way when a send was given up is let go of by the next sender, also when its key comes up")
{
    Stage stage;
    {
        const std::lock_guard lock{stage.world->mutex};
        stage.world->blocks = true;
        stage.world->blocked_port = "bowarm test:out";
    }
    stage.push(bundle_of({key_on(67)}));
    REQUIRE(soon([&] { return stage.sender->stuck(); }));
    REQUIRE(stage.sender->abandon());

    const auto next = Sender::make(
        std::make_unique<FakeOutput>(stage.world, "bowarm test:out-01"), stage.queue(), stage.sender->sounding(), true,
        [](std::unique_ptr<OutputPort>) {}, stage.lines);
    CHECK(soon([&] { return stage.queue().wants_state.load(); }));
    CHECK(stage.world->take_sent() == std::vector<Message>{key_off(67), controller(123, 0)});
    stage.push(bundle_of({key_off(69)})); // nobody ever struck that one
    stage.push(bundle_of({key_off(67)}));
    CHECK(soon([&] { return stage.sent() == 1; }));
    CHECK(stage.world->take_sent() == std::vector<Message>{key_off(67)});
    next->finish();
    CHECK(soon([&] { return next->ended(); }));
}

TEST_CASE("a pedal and a bend that may come yet are ended with the notes")
{
    Sounding sounding;
    sounding.may_come(controller(64, 127));
    sounding.may_come(pitch_bend(one, Midi14::nearest(9000)));
    sounding.may_come(controller(11, 90)); // goes on sounding nowhere
    CHECK(sounding.sequence() == std::vector<Message>{controller(64, 0), pitch_bend(one, Midi14::nearest(8192)), controller(123, 0)});
}

TEST_CASE("threads: finishing sends what waits, ends every note, lifts the pedals and centres the bend")
{
    Stage stage;
    stage.push(bundle_of({key_on(67), key_on(67), key_on(71), controller(64, 127), pitch_bend(one, Midi14::nearest(9000))}));
    stage.sender->finish();
    CHECK(soon([&] { return stage.sender->ended(); }));
    const std::vector<Message> expected{
        key_on(67),        key_on(67),  key_on(71),  controller(64, 127), pitch_bend(one, Midi14::nearest(9000)),
        key_off(67),       key_off(67), key_off(71), controller(64, 0),   pitch_bend(one, Midi14::nearest(8192)),
        controller(123, 0)};
    CHECK(stage.world->take_sent() == expected);
    CHECK_FALSE(stage.queue().in_use.load());
}

TEST_CASE("threads: a port that came back is silenced before anything else")
{
    Sounding before;
    before.sent(key_on(67));
    Stage stage{true, before};
    CHECK(soon([&] { return stage.queue().wants_state.load(); }));
    CHECK(stage.world->take_sent() == std::vector<Message>{key_off(67), controller(123, 0)});
}

TEST_CASE("nothing sent needs no silence")
{
    const Sounding untouched;
    CHECK(untouched.sequence().empty());
}
