// Which keys that overlapped were slurred, and which were meant to be separate, judged by the whole take.
//   A hand holds a separate note for as long as it holds others of that rhythm, wherever the next one falls; a slurred one it lets
//   go so long after the next, however long that takes.  So each overlap is weighed between the two habits of this very hand.
//   in       what was played
//   out      the inputs, where a key meant to be separate comes up just before the next goes down; empty where none was
//   source   expectation-maximisation over two densities (Dempster, Laird, Rubin 1977); the figures in DEVELOPERS.md (against
//            editors' bowings, jitter) say what it is worth
//   thread   any, pure.  Real-time safe: no, it allocates; linear in the number of notes.  Errors: none.
#pragma once

#include "hear/input.hpp"

#include <optional>
#include <vector>

namespace bowarm
{

std::optional<std::vector<Input>> with_overlaps_as_meant(const std::vector<Input>& inputs, Seconds chord_window);

} // namespace bowarm
