// Names of keys as a person writes them in a file; the words of techniques are those of take/words.hpp.
//   thread   any, pure.  Real-time safe: no.  Errors: empty when the text names nothing.
#pragma once

#include "midi/message.hpp"

#include <optional>
#include <string_view>
#include <vector>

namespace bowarm
{

// "C4" is key 60, middle C; "F#3", "Bb2", from "C-1" (0) to "G9" (127).  Makers differ over the octave's number: MIDI 1.0 has none.
std::optional<Midi7> key_of_name(std::string_view name);

// Every technique's word, in the order of the enumeration.
std::vector<std::string_view> technique_names();

} // namespace bowarm
