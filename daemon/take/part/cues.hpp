// Cues: the last bar of another part before this one comes in again.
//   in       which bars of this part are silent
//   out      which of them take a cue
//   source   common practice in orchestral parts, no source
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include <vector>

namespace bowarm::part
{

std::vector<bool> bars_with_cues(const std::vector<bool>& silent);

} // namespace bowarm::part
