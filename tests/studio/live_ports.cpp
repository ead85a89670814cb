// The keeper of the ports, in a world where keyboards, samplers and servers come and go.
#include "live_fake.hpp"
#include "soon.hpp"

#include "studio/port_keeper.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <thread>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

MidiSettings settings_of(std::vector<std::string> sources, std::vector<std::string> destinations)
{
    MidiSettings midi;
    midi.inputs.push_back({"keys", false, std::move(sources), true, {}});
    midi.outputs.front() = {"sampler", false, std::move(destinations), true};
    return midi;
}

class Silent final : public Receiver
{
public:
    void received(std::span<const std::uint8_t>) noexcept override {}
};

struct Studio {
    explicit Studio(MidiSettings midi)
        : settings(std::move(midi)), keeper(settings, lines, [this](const std::shared_ptr<Wakeup>&) -> std::unique_ptr<MidiSystem> {
              if (!server.load()) return nullptr;
              return std::make_unique<FakeSystem>(world, settings.client);
          })
    {
        lines->clock.start();
    }
    std::string state(std::size_t port) { return port < keeper.view().ports.size() ? keeper.view().ports[port].state : "not looked"; }
    std::vector<std::string> connected(std::size_t port) { return keeper.view().ports.at(port).connected; }
    std::vector<InputKind> news()
    {
        std::vector<InputKind> kinds;
        Input input;
        while (lines->from_ports.pop(input)) kinds.push_back(input.kind);
        return kinds;
    }
    void send(const Message& message)
    {
        OutItem item;
        item.count = 1;
        item.messages[0] = message;
        for (OutQueue& out : lines->outs) {
            out.push(item);
            out.wake.ring();
        }
    }

    std::shared_ptr<FakeWorld> world = std::make_shared<FakeWorld>();
    std::shared_ptr<Lines> lines = std::make_shared<Lines>();
    std::atomic<bool> server{true};
    MidiSettings settings;
    PortKeeper keeper;
};

// The one output that is open now; those that come later are not touched.
void block_the_port(FakeWorld& world)
{
    const std::lock_guard lock{world.mutex};
    world.blocks = true;
    for (const FakeWorld::Port& port : world.ports)
        if (port.is_output) world.blocked_port = port.name;
}

const Message key_on = note_on(Channel{}, Midi7::nearest(67), Midi7::nearest(80));

} // namespace

TEST_CASE("threads: a keyboard that comes later is listened to, one that goes releases its keys, one that returns is heard again")
{
    Studio studio{settings_of({"grand"}, {})};
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(0) == "waiting"; }));

    auto keyboard = std::make_unique<FakeOutput>(studio.world, "Grand Keys:midi");
    REQUIRE(soon([&] { return studio.state(0) == "open"; }));
    CHECK(studio.connected(0) == std::vector<std::string>{"Grand Keys:midi"});
    keyboard->send(key_on);
    Input heard;
    CHECK(soon([&] { return studio.lines->feeds[0].queue.pop(heard); }));
    CHECK(heard.source == Source{0});
    CHECK(studio.news().empty());

    keyboard.reset();
    CHECK(soon([&] { return studio.state(0) == "lost"; }));
    CHECK(studio.news() == std::vector<InputKind>{InputKind::port_lost});

    keyboard = std::make_unique<FakeOutput>(studio.world, "Grand Keys:midi");
    CHECK(soon([&] { return studio.state(0) == "open"; }));
    CHECK(studio.news() == std::vector<InputKind>{InputKind::port_back});
    CHECK(studio.keeper.finish(milliseconds(2000)));
    keyboard.reset();
    CHECK(studio.world->names(false).empty());
}

TEST_CASE("threads: a sampler that comes back is silenced first and hears the whole state")
{
    Studio studio{settings_of({}, {"synth"})};
    Silent ears;
    auto sampler = std::make_unique<FakeInput>(studio.world, "Synth:in", ears);
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(1) == "open" && studio.lines->outs[0].in_use.load(); }));
    studio.keeper.playing();
    CHECK_FALSE(studio.lines->outs[0].wants_state.load()); // nothing was said yet
    studio.send(key_on);
    REQUIRE(soon([&] { return !studio.world->take_sent().empty(); }));

    sampler.reset();
    REQUIRE(soon([&] { return studio.state(1) == "waiting"; }));
    studio.world->take_sent();
    sampler = std::make_unique<FakeInput>(studio.world, "Synth:in", ears);
    REQUIRE(soon([&] { return studio.state(1) == "open"; }));
    CHECK(soon([&] { return studio.lines->outs[0].wants_state.load(); }));
    for (const Message& message : studio.world->take_sent()) CHECK_FALSE(message.is_note_on());
    studio.keeper.finish(milliseconds(2000));
}

TEST_CASE("threads: a server that dies is waited for, and everything is opened again")
{
    Studio studio{settings_of({"grand"}, {"synth"})};
    Silent ears;
    FakeOutput keyboard{studio.world, "Grand Keys:midi"};
    FakeInput sampler{studio.world, "Synth:in", ears};
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(0) == "open" && studio.state(1) == "open" && studio.lines->outs[0].in_use.load(); }));
    studio.keeper.playing();
    studio.send(key_on);
    REQUIRE(soon([&] { return !studio.world->take_sent().empty(); }));

    studio.server.store(false);
    studio.world->state.store(SystemState::lost);
    REQUIRE(soon([&] { return studio.keeper.view().system == "none"; }));
    CHECK(studio.state(0) == "lost");
    CHECK(studio.state(1) == "lost");
    CHECK(studio.news() == std::vector<InputKind>{InputKind::port_lost});

    studio.world->state.store(SystemState::running);
    studio.server.store(true);
    REQUIRE(soon([&] { return studio.state(0) == "open" && studio.state(1) == "open"; }));
    CHECK(studio.news() == std::vector<InputKind>{InputKind::port_back});
    // The note that was on when the server died is ended first.
    std::vector<Message> sent;
    CHECK(soon([&] {
        for (const Message& m : studio.world->take_sent()) sent.push_back(m);
        return !sent.empty();
    }));
    CHECK(sent.at(0) == note_off(Channel{}, Midi7::nearest(67)));
    studio.keeper.finish(milliseconds(2000));
}

TEST_CASE("threads: where there never was a server, ports are waited for and not lost")
{
    Studio studio{settings_of({"grand"}, {"synth"})};
    studio.server.store(false);
    studio.keeper.start();
    studio.keeper.playing();
    REQUIRE(soon([&] { return studio.keeper.view().looked; }));
    CHECK(studio.state(0) == "waiting");
    CHECK(studio.state(1) == "waiting");
    studio.keeper.finish(milliseconds(2000));
}

TEST_CASE("threads: after a server's return our own open port does not stand for a keyboard that is still gone")
{
    MidiSettings midi = settings_of({"grand"}, {});
    midi.inputs[0].virtual_port = true;
    Studio studio{midi};
    auto keyboard = std::make_unique<FakeOutput>(studio.world, "Grand Keys:midi");
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(0) == "open"; }));
    studio.server.store(false);
    studio.world->state.store(SystemState::lost);
    REQUIRE(soon([&] { return studio.keeper.view().system == "none"; }));
    studio.news();
    keyboard.reset();
    studio.world->state.store(SystemState::running);
    studio.server.store(true);
    REQUIRE(soon([&] { return studio.keeper.view().system == "fake"; }));
    CHECK(studio.state(0) == "lost");
    CHECK(studio.news().empty());
    keyboard = std::make_unique<FakeOutput>(studio.world, "Grand Keys:midi");
    CHECK(soon([&] { return studio.state(0) == "open"; }));
    CHECK(studio.news() == std::vector<InputKind>{InputKind::port_back});
    studio.keeper.finish(milliseconds(2000));
}

TEST_CASE("threads: a stalled server is shown, nothing is closed, and it goes on")
{
    Studio studio{settings_of({"grand"}, {})};
    FakeOutput keyboard{studio.world, "Grand Keys:midi"};
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(0) == "open"; }));
    studio.world->state.store(SystemState::stalled);
    CHECK(studio.state(0) == "stalled"); // at once: it is read, not waited for
    CHECK(studio.news().empty());
    studio.world->state.store(SystemState::running);
    CHECK(soon([&] { return studio.state(0) == "open"; }));
    CHECK(studio.news().empty());
    studio.keeper.finish(milliseconds(2000));
}

TEST_CASE("threads: a sampler whose send sticks is given up, and its port opened anew")
{
    Studio studio{settings_of({}, {"synth"})};
    Silent ears;
    FakeInput sampler{studio.world, "Synth:in", ears};
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(1) == "open" && studio.lines->outs[0].in_use.load(); }));
    studio.keeper.playing();
    {
        const std::lock_guard lock{studio.world->mutex};
        studio.world->blocks = true;
    }
    studio.send(key_on);
    CHECK(soon([&] { return studio.keeper.abandon_stuck_senders() == 1; }));
    studio.world->unblock();
    studio.world->take_sent();
    CHECK(soon([&] {
        studio.send(key_on);
        return !studio.world->take_sent().empty();
    }));
    CHECK(studio.keeper.abandon_stuck_senders() == 1);
    studio.keeper.finish(milliseconds(2000));
}

namespace
{

// An output whose send of a note has been given up and hangs inside the MIDI system.
void give_up_a_send(Studio& studio)
{
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.state(1) == "open" && studio.lines->outs[0].in_use.load(); }));
    studio.keeper.playing();
    block_the_port(*studio.world);
    studio.send(key_on);
    REQUIRE(soon([&] { return studio.keeper.abandon_stuck_senders() == 1; }));
}

} // namespace

TEST_CASE("threads: a note whose send was given up and that sounds all the same later does not hang, and the state is told anew")
{
    Studio studio{settings_of({}, {"synth"})};
    Silent ears;
    FakeInput sampler{studio.world, "Synth:in", ears};
    give_up_a_send(studio);
    const auto in_use = [&] { return studio.world->names(true).size() == 2 && studio.lines->outs[0].wants_state.load(); };
    REQUIRE(soon(in_use)); // a second port, beside the one that is stuck
    studio.lines->outs[0].wants_state.store(false);
    studio.send(note_off(Channel{}, Midi7::nearest(67))); // the key comes up before the note has come

    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    studio.world->unblock();
    std::vector<Message> sent;
    const auto all_quiet = [&] {
        for (const Message& m : studio.world->take_sent()) sent.push_back(m);
        const auto on = std::find(sent.begin(), sent.end(), key_on);
        return on != sent.end() && std::any_of(on, sent.end(), [](const Message& m) { return m.is_note_off(); });
    };
    CHECK(soon(all_quiet));
    CHECK(soon([&] { return studio.lines->outs[0].wants_state.load(); }));
    CHECK(studio.keeper.finish(milliseconds(2000)));
}

TEST_CASE("threads: with a given-up send still inside the MIDI system the end is not called clean")
{
    Studio studio{settings_of({}, {"synth"})};
    Silent ears;
    FakeInput sampler{studio.world, "Synth:in", ears};
    give_up_a_send(studio);
    REQUIRE(soon([&] { return studio.world->names(true).size() == 2; }));
    CHECK_FALSE(studio.keeper.finish(milliseconds(2000)));
    studio.world->unblock();
    CHECK(soon([&] { return studio.world->names(true).empty(); }));
}

TEST_CASE("threads: what is needed and not there is named")
{
    MidiSettings midi = settings_of({"grand"}, {"synth"});
    midi.inputs[0].optional = false;
    midi.outputs.front().optional = false;
    Studio studio{midi};
    FakeOutput keyboard{studio.world, "Grand Keys:midi"};
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.keeper.view().looked; }));
    CHECK(studio.keeper.view().missing == std::vector<std::string>{"output \"sampler\""});
    studio.keeper.finish(milliseconds(2000));
}

TEST_CASE("threads: the program's own ports and through ports are never connected by a star")
{
    MidiSettings midi = settings_of({"*"}, {"*"});
    midi.inputs[0].virtual_port = true;
    midi.outputs.front().virtual_port = true;
    Studio studio{midi};
    FakeOutput through{studio.world, "Midi Through:Midi Through Port-0"};
    studio.keeper.start();
    REQUIRE(soon([&] { return studio.keeper.view().looked; }));
    std::this_thread::sleep_for(std::chrono::milliseconds(200));
    {
        const std::lock_guard lock{studio.world->mutex};
        CHECK(studio.world->links.empty());
    }
    studio.keeper.finish(milliseconds(2000));
}
