// Writes what was found out about pedals and keys into the text of a configuration.
//   Only lines of [controls], [[controls.key]] and [[controls.controller]] that say what was asked for are changed; comments and
//   every other line stay byte for byte.
//   in       a text that the loader took
//   out      the new text; the caller lets the loader read it before it is kept
//   thread   any, pure.  Real-time safe: no.
//   Errors   a problem where [controls] is written in a form that is not edited here (dotted keys, an inline table).
#pragma once

#include "midi/message.hpp"
#include "studio/problem.hpp"

#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace bowarm
{

// A key, or a controller in a range, that is to do something; the words of `does`.
struct KeyWish {
    std::string does;
    Midi7 key;
};
struct ControllerWish {
    std::string does;
    Midi7 number, from, to;
};

struct ControlsWish {
    std::vector<std::pair<std::string, std::string>> values; // keys of [controls], and their values as TOML writes them
    std::vector<KeyWish> keys;                               // each key and each action once
    std::vector<ControllerWish> controllers;

    bool empty() const { return values.empty() && keys.empty() && controllers.empty(); }
};

using ChangedText = std::variant<std::string, Problem>;

ChangedText with_controls(const std::string& text, const ControlsWish& wish);

} // namespace bowarm
