// Plays a script through the engine to the configured output in real time, without keyboards, socket or takes.
//   thread   one that may wait.  Real-time safe: no.
//   Errors   said by the outcome; when it returns nothing sounds.
#pragma once

#include "hear/input.hpp"
#include "studio/configuration.hpp"
#include "studio/port_keeper.hpp"

#include <csignal>
#include <functional>
#include <span>

namespace bowarm
{

enum class ScriptOutcome : std::uint8_t {
    whole,       // to its end
    stopped,     // told to
    no_system,   // no MIDI system answers
    no_listener, // nobody connected to the output in time
};

struct ScriptWish {
    Settings settings; // its inputs are not opened
    std::span<const Input> script;
    OpenSystem open_system;
    Duration patience;                               // for a listener
    std::function<void()> waiting;                   // nobody listens yet; told once
    std::function<void(Time)> playing;               // about every 20 ms, with the script's time
    const volatile std::sig_atomic_t* stop{nullptr}; // other than 0: stop
};

ScriptOutcome play_script(ScriptWish wish);

} // namespace bowarm
