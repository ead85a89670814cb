// What `takes` and `recover` say.
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include "studio/take_folder.hpp"
#include "take/replayed.hpp"

#include <cstddef>
#include <string>

namespace bowarm
{

// "  3  take-20260131-235959  1.2 MB  kept  slow song"; number 0: left out.
std::string list_line(std::size_t number, const KeptTake& take);
// Length, notes, strokes, warnings, who played, and whether a replay is the same.  Lines with LF.
std::string take_text(const Journal& journal, const PlayerConfig& player, const Replayed& replay);
std::string sameness_text(const Journal& journal, const Replayed& replay);
// The stroke with which the second take enters.
std::string seam_text(const Recorder& take, Time seam, std::int32_t bar);

} // namespace bowarm
