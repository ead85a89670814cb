// MIDI over what else RtMidi was compiled with, ALSA above all: ports by RtMidi's own list, no watcher.
//   One object a connection: an ALSA receiver that stops reading then holds up only itself.
//   thread   as in midi/port.hpp.  Errors: open answers empty when the system is not there.
//   ALSA was read about and not run where this was written: there was no sequencer device.
#pragma once

#include "midi/port.hpp"

#include <memory>
#include <string>
#include <string_view>

namespace bowarm
{

// system: RtMidi's short name ("alsa", "core", ...), not "jack".
std::unique_ptr<MidiSystem> open_listed(std::string_view system, const std::string& client);

} // namespace bowarm
