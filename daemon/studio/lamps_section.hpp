// [lamps]: what the hands are told, by which notes and controllers, at which output.
//   thread   any.  Real-time safe: no.  Errors: collected as problems.
#pragma once

#include "studio/configuration.hpp"
#include "studio/key_rows.hpp"

namespace bowarm
{

LampSettings read_lamps(const Section& section, const MidiSettings& midi);

} // namespace bowarm
