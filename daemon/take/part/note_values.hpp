// Written time as note values: what is tied to what, and where a beat has to show.
//   in       a stretch that lies in one bar, and the tuplets of the part
//   out      values that fill it, in order
//   source   common practice in engraving, no source: no value hides the middle of a bar in four, nor a beat unless it is a plain
//            syncopation; rests stand where their like would stand
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/part/music.hpp"

#include <span>
#include <string_view>
#include <vector>

namespace bowarm::part
{

struct NoteValue {
    Ticks begin{0}, length{0};
    int power{0}; // written: 0 is the whole note, 2 the quarter, 7 the 128th; -1 the breve
    int dots{0};
    int actual{0}; // a tuplet: so many
    int normal{0}; // in the time of so many
    int normal_power{0};
    bool tuplet_begins{false}, tuplet_ends{false}; // at the beginning and the end of its beat
};

std::vector<NoteValue> values_of(Ticks begin, Ticks end, const Bar& bar, std::span<const Division> tuplets, bool rest);

std::string_view value_word(int power); // MusicXML's
// How notes of a bar are grouped under beams: the group that a place belongs to.
Ticks beam_group(Ticks at, const Bar& bar, bool eighths_alone);

} // namespace bowarm::part
