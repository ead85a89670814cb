// The configured inputs, heard without an engine, and on wish sent straight on to the configured output.
//   thread   one, which sleeps on descriptor() and then takes.  Real-time safe: no.
//   Errors   none; an input that is not there is waited for, as the service does.
#pragma once

#include "studio/configuration.hpp"
#include "studio/lines.hpp"
#include "studio/port_keeper.hpp"

#include <memory>
#include <optional>

namespace bowarm
{

class ListeningPorts
{
public:
    // The client's name has " setup" behind it, so that it is told from a service that runs.
    ListeningPorts(const MidiSettings& settings, const OpenSystem& open);
    ~ListeningPorts(); // nothing sounds when it returns

    // Waits for a first look at the ports; false: no MIDI system answers.
    bool system_answers();
    void send_on(bool on) { sends_on_ = on; }
    int descriptor() const { return lines_->engine_wake.descriptor(); }
    // The next message; empty: none waits, and the bell is silent again.
    std::optional<Message> take();
    PortView view() const { return keeper_.view(); }

private:
    void send(const Message& message);

    std::shared_ptr<Lines> lines_;
    PortKeeper keeper_;
    bool sends_on_{false};
};

} // namespace bowarm
