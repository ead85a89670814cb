// MIDI over JACK, and over PipeWire's JACK: RtMidi's ports, guarded by a watcher of our own.
//   thread   as in midi/port.hpp.  Errors: open answers empty when no server is there.
#pragma once

#include "midi/port.hpp"
#include "midi/ports/wakeup.hpp"

#include <memory>
#include <string>

namespace bowarm
{

// client: the beginning of all our client names.  The bell rings when something about the ports or the server changes.
// Blocks while the server is stopped: only on a thread that may wait.
std::unique_ptr<MidiSystem> open_jack(const std::string& client, std::shared_ptr<Wakeup> bell);

} // namespace bowarm
