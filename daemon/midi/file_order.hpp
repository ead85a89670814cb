// The order in which the events of all tracks are heard.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "midi/standard_file.hpp"

#include <vector>

namespace bowarm
{

// By tick.  Within a tick: first all that is not a note-on, in the order given; then the note-ons from the lowest pitch
// up, so that a chord has one order whatever program wrote it; last the note-offs that can only mean a note of this
// tick.  A note-off standing after the next note-on of its key still ends the earlier note: keys end in the order they
// began (MIDI 1.0 leaves it open; common practice of sequencers, no source).
void put_in_file_order(std::vector<FileEvent>& events);

} // namespace bowarm
