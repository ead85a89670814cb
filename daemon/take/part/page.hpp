// The music of a part as a MusicXML document.
//   in       bars, and for each player the segments, marks, dynamics and clefs
//   out      MusicXML 4.0, partwise; the elements in the order of its schema
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/part/beat_map.hpp"
#include "take/part/bow_marks.hpp"
#include "take/part/clefs.hpp"
#include "take/part/dynamics.hpp"
#include "take/part/key_sections.hpp"
#include "take/part/music.hpp"

#include <string>
#include <vector>

namespace bowarm::part
{

// What one player reads.
struct Voice {
    std::vector<PlayedNote> notes;
    std::vector<Segment> segments;
    std::vector<Division> tuplets;
    std::vector<Marks> marks; // one a segment
    std::vector<Dynamic> dynamics;
    std::vector<Clef> clefs; // one a bar
    std::string name;
    int octave{0}; // semitones from what sounds to what is written
};

struct Page {
    std::string title;
    std::vector<Voice> voices; // one a desk of each player
    std::vector<Bar> bars;
    std::vector<KeyFrom> keys; // in order, the first at bar 0
    std::int32_t first_bar{1};
    std::vector<std::int32_t> rehearsal;
    std::vector<TempoMark> tempos;  // in order, the first at the beginning
    std::vector<std::string> words; // at the beginning
    std::string cue_name;
    Voice cue; // notes, segments and tuplets only
};

std::string page_xml(const Page& page);

} // namespace bowarm::part
