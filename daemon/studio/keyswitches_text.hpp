// Writes the keyswitches that a person has shown into the text of a target file.
//   Only the lines of [technique.NAME] that say how it is selected are changed, and the target's name; every other byte stays.
//   in       a text that the loader took
//   out      the new text; the caller lets the loader read it before it is kept
//   thread   any, pure.  Real-time safe: no.
#pragma once

#include "base/technique.hpp"
#include "midi/message.hpp"

#include <optional>
#include <string>
#include <vector>

namespace bowarm
{

struct KeyswitchWish {
    Technique technique;
    Midi7 key;               // of its only switch, or of its down-bow
    std::optional<Midi7> up; // of its up-bow, where it has one of its own
};

// The name: empty keeps it.
std::string with_keyswitches(const std::string& text, const std::string& name, const std::vector<KeyswitchWish>& wishes);

} // namespace bowarm
