// Slurs, bow marks, dots, accents and words, as a copyist would put them into a player's part.
//   in       segments in order, the notes behind them
//   out      the marks of each segment
//   source   common practice, no source: a slur is a bow; bows alternate unless a mark says otherwise, so a mark stands where the
//            music begins, after rests, after plucked notes and tremolos, where two bows go the same way, and where the bow changes under
//            a held note
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/part/music.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bowarm::part
{

// After rests of this length a player does not count on where the bow was.
inline constexpr Ticks rest_forgets = 2 * ticks_a_quarter;

struct Marks {
    std::optional<Direction> bow;
    bool slur_begins{false}, slur_ends{false};
    bool dot{false}, line{false}, wedge{false}, accent{false};
    bool comma{false}; // after the note: the bow is lifted, and goes the same way again
    bool snap{false}, left_hand{false};
    bool harmonic{false}, artificial_harmonic{false};
    std::vector<std::string> words;
};

std::vector<Marks> marks_of(std::span<const Segment> segments, std::span<const PlayedNote> notes);

} // namespace bowarm::part
