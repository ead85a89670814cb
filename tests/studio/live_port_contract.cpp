// What every MIDI system has to do, real or not; the same checks for the fake and for RtMidi over JACK.
#include "live_fake.hpp"
#include "live_jack_server.hpp"
#include "soon.hpp"

#include "midi/ports/jack_system.hpp"
#include "midi/ports/library_lines.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <cstdio>
#include <functional>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

// Keeps the bytes of every callback, one entry each.
class Ears final : public Receiver
{
public:
    void received(std::span<const std::uint8_t> bytes) noexcept override
    {
        const std::lock_guard lock{mutex_};
        heard_.emplace_back(bytes.begin(), bytes.end());
    }
    std::size_t count()
    {
        const std::lock_guard lock{mutex_};
        return heard_.size();
    }
    std::vector<std::vector<std::uint8_t>> heard()
    {
        const std::lock_guard lock{mutex_};
        return heard_;
    }
    bool wait_for(std::size_t count)
    {
        return soon([&] { return this->count() >= count; });
    }

private:
    std::mutex mutex_;
    std::vector<std::vector<std::uint8_t>> heard_;
};

using OpenClient = std::function<std::unique_ptr<MidiSystem>(const std::string& client)>;

bool holds(const std::vector<std::string>& names, const std::string& name)
{
    return std::find(names.begin(), names.end(), name) != names.end();
}

bool send_patiently(OutputPort& port, const Message& message)
{
    for (int i = 0; i < 5000; ++i) {
        const Sent answer = port.send(message);
        if (answer != Sent::later) return answer == Sent::sent;
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return false;
}

Message numbered(int n) { return control_change(Channel{}, Midi7::nearest(n / 128 % 128), Midi7::nearest(n % 128)); }

void keeps_the_contract(const OpenClient& open)
{
    const auto here = open("bowarm contract here");
    const auto there = open("bowarm contract there");
    REQUIRE(here);
    REQUIRE(there);
    CHECK(here->state() == SystemState::running);
    Ears ears;

    // A port open to all is seen by others, and not by its owner.
    Opened<OutputPort> out = there->open_output({"bowarm contract there voice", "out", {}});
    REQUIRE_MESSAGE(out.port, out.trouble);
    const std::string voice = out.port->real_name();
    CHECK(holds(here->sources(), voice));
    CHECK_FALSE(holds(there->sources(), voice));
    CHECK_FALSE(holds(here->destinations(), voice));
    CHECK(there->connections(voice).empty());

    // A peer that is not there gives trouble in words, and no port.
    const Opened<InputPort> lost = here->open_input({"bowarm contract here lost", "in", "nobody:home"}, ears);
    CHECK_FALSE(lost.port);
    CHECK_FALSE(lost.trouble.empty());
    CHECK_FALSE(holds(there->destinations(), "bowarm contract here lost:in"));

    // Connected by name: both sides know it.
    Opened<InputPort> in = here->open_input({"bowarm contract here ears", "in", voice}, ears);
    REQUIRE_MESSAGE(in.port, in.trouble);
    CHECK(here->connections(in.port->real_name()) == std::vector<std::string>{voice});
    CHECK(there->connections(voice) == std::vector<std::string>{in.port->real_name()});

    // More than half of RtMidi's ring at a time: everything arrives, each message alone, in order.
    CHECK(soon([&] { return out.port->ready(1); }));
    constexpr int count = 5000;
    int refused = 0;
    for (int n = 0; n < count; ++n) refused += send_patiently(*out.port, numbered(n)) ? 0 : 1;
    CHECK(refused == 0);
    CHECK(ears.wait_for(count));
    int disordered = 0, n = 0;
    for (const auto& bytes : ears.heard()) {
        const Message expected = numbered(n++);
        disordered += std::equal(bytes.begin(), bytes.end(), expected.data().begin(), expected.data().end()) ? 0 : 1;
    }
    CHECK(n == count);
    CHECK(disordered == 0);

    // What is sent last, before the port goes, arrives all the same.
    const Message last_word = note_off(Channel{}, Midi7::nearest(60));
    CHECK(send_patiently(*out.port, last_word));
    out.port->settle();
    out.port.reset();
    CHECK(ears.wait_for(count + 1));
    CHECK(ears.count() == count + 1);

    // The peer is gone: no connection, no name.
    CHECK(soon([&] { return here->connections(in.port->real_name()).empty(); }));
    CHECK(soon([&] { return !holds(here->sources(), voice); }));

    // A name that is taken: the second is told what it is really called.
    Opened<OutputPort> first = there->open_output({"bowarm contract there twin", "out", {}});
    Opened<OutputPort> second = there->open_output({"bowarm contract there twin", "out", {}});
    REQUIRE(first.port);
    REQUIRE(second.port);
    CHECK(first.port->real_name() != second.port->real_name());
    CHECK(holds(here->sources(), second.port->real_name()));

    // When the destructor has returned, the receiver is left alone.
    Opened<InputPort> listener = here->open_input({"bowarm contract here late", "in", first.port->real_name()}, ears);
    REQUIRE_MESSAGE(listener.port, listener.trouble);
    listener.port.reset();
    const std::size_t heard = ears.count();
    CHECK(send_patiently(*first.port, last_word));
    first.port->settle();
    CHECK(ears.count() == heard);
}

} // namespace

TEST_CASE("threads: a fake keeps the port contract")
{
    const auto world = std::make_shared<FakeWorld>();
    keeps_the_contract([&](const std::string& client) { return std::make_unique<FakeSystem>(world, client); });
}

TEST_CASE("RtMidi over JACK keeps the port contract")
{
    const LibraryLines guard;
    const JackServer server;
    if (!server.runs()) {
        std::puts("not run here: jackd is absent or does not start");
        return;
    }
    const auto bell = std::make_shared<Wakeup>();
    keeps_the_contract([&](const std::string& client) { return open_jack(client, bell); });
}

TEST_CASE("without a JACK server there is no system, and nothing hangs")
{
    const LibraryLines guard;
    ::setenv("JACK_DEFAULT_SERVER", "bowarm-nobody-runs-this", 1);
    CHECK_FALSE(open_jack("bowarm contract alone", std::make_shared<Wakeup>()));
}
