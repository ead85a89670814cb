// The notes of a performance by their keys: how long each was held, and how far into the next.
//   in       what was played
//   out      one for each note or chord but the last, in order of their onsets
//   thread   any, pure.  Real-time safe: no, it allocates; linear.  Errors: none.
#pragma once

#include "hear/input.hpp"

#include <cstddef>
#include <vector>

namespace bowarm
{

struct HeldNote {
    Time on;
    Time off;              // of its last key
    Time next;             // onset of the next note or chord
    std::size_t key_up{0}; // the input that is its last key's end
    bool in_a_line{true};  // one key, and no other beside it but the next

    Seconds held() const { return to_seconds(off - on); }
    Seconds interval() const { return to_seconds(next - on); }
    Seconds overlap() const { return to_seconds(off - next); } // below 0: silence between
};

// Keys nearer than the window make a chord.
std::vector<HeldNote> held_notes(const std::vector<Input>& inputs, Seconds chord_window);

} // namespace bowarm
