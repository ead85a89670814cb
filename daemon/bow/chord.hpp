// Whether two, three or four notes can be played together, and on which strings; how a chord is broken.
//   A bow sounds two neighbouring strings at once and passes over the rest, so the notes need strings in a row, one each,
//   within one hand.
//   in       sounding keys, in any order
//   out      strings as indices from the lowest, or the reason why not
//   source   C. Forsyth, Orchestration, 1914, pp. 316-317 (open strings, thirds, sixths, fourths); geometry: the rest
//   thread   any, pure.  Real-time safe: yes.  Errors: the reason is the answer.
#pragma once

#include "bow/hand.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace bowarm
{

struct ChordFingering {
    static constexpr std::size_t most = 6;
    Unplayable why{Unplayable::no};
    std::array<std::uint8_t, most> strings{}; // in the order of the notes; only where it can be played
};

ChordFingering finger_chord(const Instrument& instrument, std::span<const Midi7> notes) noexcept;

// Higher than that on a string that has another above it nobody plays double stops.  Common practice, no source.
inline constexpr int highest_in_chords = 16;

// Of a chord of three notes and more the bow takes the lower ones first and stays on the two highest; of three notes the middle
// one sounds in both.  I. Galamian's broken chord, Principles of Violin Playing and Teaching, 1962 (from memory).
//   place: of a note counted from the highest, 0; notes: in the whole chord
constexpr bool stays(std::size_t place) { return place < 2; }
constexpr bool comes_after_the_break(std::size_t place, std::size_t notes) { return notes > 3 ? place < 2 : notes == 3 && place == 0; }

} // namespace bowarm
