// Which MIDI system is used.  RtMidi's own choice is never taken: on Debian it tries ALSA, fails and does not go on to JACK.
//   thread   one that may wait.  Errors: open_system answers empty when there is none.
#pragma once

#include "midi/port.hpp"
#include "midi/ports/wakeup.hpp"

#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

// Short names of what RtMidi was compiled with, JACK first.
std::vector<std::string> compiled_systems();

// system: "auto" (JACK when a server runs, else the others in turn), "none", or one of compiled_systems().
std::unique_ptr<MidiSystem> open_system(std::string_view system, const std::string& client, std::shared_ptr<Wakeup> bell);

} // namespace bowarm
