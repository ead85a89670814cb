// Keeps the ports of the configuration open and connected while keyboards, samplers and the MIDI server come and go.
//   Its own thread does everything that may block; what it finds goes to the engine through rings.
//   thread   constructor, start, finish, view, the watchdog calls: the service; none of these wait for the MIDI server.
//   Errors   what does not work is logged once, shown in view(), and tried again: a server after 0.25 s doubling to 5 s,
//            ports once a second and whenever the list of ports changes.
#pragma once

#include "midi/port.hpp"
#include "studio/configuration.hpp"
#include "studio/lines.hpp"
#include "studio/port_view.hpp"

#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace bowarm
{

// Opens the MIDI system, or answers empty; may block.
using OpenSystem = std::function<std::unique_ptr<MidiSystem>(std::shared_ptr<Wakeup> bell)>;

class PortKeeper
{
public:
    PortKeeper(const MidiSettings& settings, std::shared_ptr<Lines> lines, OpenSystem open);
    ~PortKeeper(); // without waiting: a thread that hangs is left behind
    PortKeeper(const PortKeeper&) = delete;
    PortKeeper& operator=(const PortKeeper&) = delete;

    void start();
    // The playing begins: outputs that come later are to hear the whole state.
    void playing() noexcept;
    // The inputs and outputs of a configuration that was read again; system and client stay.
    void adopt(const MidiSettings& settings);
    PortView view() const;
    // Gives up senders whose port does not come back from a send; how many so far.
    int abandon_stuck_senders();
    // How long the MIDI system has not come back from a look at it, or from closing one port.
    Duration busy_for() const;
    // Silences every output, closes every port; true when all is done within that time.
    bool finish(Duration patience);

private:
    class Work;
    std::shared_ptr<Work> work_;
};

} // namespace bowarm
