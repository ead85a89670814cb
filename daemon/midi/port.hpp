// Ports as this program wants them: small enough that a fake, JACK and ALSA keep the same contract.
//   thread   said at each member.  A port is used by one thread at a time.
//   Errors   opening answers with a port or with what was in the way; nothing is thrown.
//   Opening and destroying may block for as long as the MIDI server does: never from a thread that has to answer.
#pragma once

#include "midi/message.hpp"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

// Takes what an input hears.
class Receiver
{
public:
    // On a thread of the MIDI system, perhaps a real-time one: copy and return.  The bytes may hold several messages,
    // or a part of one; they end with the call.
    virtual void received(std::span<const std::uint8_t> bytes) noexcept = 0;

protected:
    ~Receiver() = default;
};

enum class Sent : std::uint8_t {
    sent,
    later,  // no credit now: ask again in about a millisecond
    failed, // the port is of no more use
};

class InputPort
{
public:
    virtual ~InputPort() = default; // when it returns, the receiver is called no more
    // The name the system gave, which need not be the one asked for.
    virtual const std::string& real_name() const noexcept = 0;
};

class OutputPort
{
public:
    virtual ~OutputPort() = default;
    virtual const std::string& real_name() const noexcept = 0;
    // False: it will never send again.
    virtual bool usable() const noexcept = 0;
    // Whether that many messages may be handed over now, one after the other, with no `later` in between.
    virtual bool ready(std::size_t messages) noexcept = 0;
    virtual Sent send(const Message& message) noexcept = 0;
    // Waits until what was sent has left, a tenth of a second at most: before destruction, so that note-offs arrive.
    virtual void settle() noexcept = 0;
};

struct PortWish {
    std::string client; // ASCII; distinct for each port of this process
    std::string port;   // ASCII
    std::string peer;   // listed by sources() or destinations(); empty: others connect to us
};

template <class Port> struct Opened {
    std::unique_ptr<Port> port; // empty when it did not work
    std::string trouble;        // then: why
};

enum class SystemState : std::uint8_t {
    running,
    stalled, // there, but it does not move: keep everything, send nothing
    lost,    // gone for good; a new one has to be made
};

class MidiSystem
{
public:
    virtual ~MidiSystem() = default;
    virtual std::string_view name() const noexcept = 0; // "jack", "alsa", ...
    virtual std::string version() const = 0;            // empty: unknown
    virtual SystemState state() const noexcept = 0;     // any thread, never blocks
    // What can be listened to, and what can be played; without our own ports and without through ports.
    virtual std::vector<std::string> sources() = 0;
    virtual std::vector<std::string> destinations() = 0;
    virtual Opened<InputPort> open_input(const PortWish& wish, Receiver& receiver) = 0;
    virtual Opened<OutputPort> open_output(const PortWish& wish) = 0;
    // Who is connected to one of our ports now, by its real name.
    virtual std::vector<std::string> connections(const std::string& real_name) = 0;
};

} // namespace bowarm
