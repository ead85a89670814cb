// One key, or one chord, struck again and again, quicker than strokes are counted: what a tremolo looks like from the keys.
//   source   8 strokes a second are comfortable for an even detache, 10 to 16 are an unmeasured tremolo; common practice, no
//            source.  A quick alternation of two keys is a trill or a fingered tremolo, which is a slur, and is not meant here.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

namespace bowarm
{

class FastRepeats
{
public:
    // An onset, so long after the one before; same_pitch: as that.
    void onset(bool same_pitch, Seconds interval) noexcept;
    void stop() noexcept { *this = {}; }
    bool under_way() const { return under_way_; }

private:
    bool under_way_{false};
    int same_{0};      // onsets in a row on the pitch before, quick ones
    int different_{0}; // onsets in a row on another pitch
    Seconds since_;    // from the first of the same
    Seconds last_;
};

} // namespace bowarm
