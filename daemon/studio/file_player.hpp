// A Standard MIDI File as what a person would have played: the script that the engine follows in real time.
//   The same inputs at the same logical times as replay gives its player, so that the same messages come out.
//   thread   any.  Real-time safe: no.  Errors: none; a file without notes gives an empty script.
#pragma once

#include "hear/input.hpp"
#include "midi/standard_file.hpp"

#include <vector>

namespace bowarm
{

// Keys that the file leaves down are released at its end.
std::vector<Input> script_of(const StandardFile& song);

} // namespace bowarm
