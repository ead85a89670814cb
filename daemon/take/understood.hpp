// A take's playing as it is understood once the whole of it has been heard: bar lines that nobody told (bar_lines.hpp), and keys
//   that overlapped though they were meant to be separate (meant_overlaps.hpp).
//   in       a piece, and how it was bowed live
//   out      the same piece with what was found; empty where the live pass understood it just so
//   thread   any, pure.  Real-time safe: no, it allocates; linear.  Errors: none.
#pragma once

#include "take/second_bowing.hpp"

#include <optional>

namespace bowarm
{

std::optional<Piece> understood(const Piece& piece, const Recorder& live);

// Hindsight's bowing of the piece as it is understood then; its costs are of that reading.  `live` was bowed with the same wishes.
// Others who were bowed before are followed where they double it.
Bowing bow_as_understood(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, Hindsight& hindsight,
                         std::span<const OthersBowing> others = {});

} // namespace bowarm
