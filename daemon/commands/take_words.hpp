// What `takes` and `recover` say.
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include "studio/take_folder.hpp"
#include "take/replayed.hpp"

#include <cstddef>
#include <span>
#include <string>

namespace bowarm
{

// "  3  take-20260131-235959  1.2 MB  kept  slow song"; number 0: left out.
std::string list_line(std::size_t number, const KeptTake& take);
// A player of a take, and what came of playing it again.
struct PlayersReplay {
    const PlayerConfig& player;
    Replayed replay;
};
// Length, notes, strokes, warnings, who played, and whether a replay is the same; of several players under the name of each.  Lines
// with LF.
std::string take_text(const Journal& journal, std::span<const PlayersReplay> players);
std::string sameness_text(const Journal& journal, std::span<const PlayersReplay> players);
// The stroke with which the second take enters.
std::string seam_text(const Recorder& take, Time seam, std::int32_t bar);

} // namespace bowarm
