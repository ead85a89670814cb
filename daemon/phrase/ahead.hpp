// What is known of the notes that follow, where a delay lets the arm know it.
//   in       filled by the player from the gestures that wait
//   out      read by what judges a note at its onset
//   thread   plain data.  Real-time safe: yes.
#pragma once

#include "base/fixed_vector.hpp"
#include "phrase/rhythm.hpp"

#include <optional>

namespace bowarm
{

// A note, or chord, whose following onset is known.
struct NoteAhead {
    PastNote note;
    double velocity{64};
    bool repeats{false}; // a pitch of the note before
};

struct Ahead {
    static constexpr std::size_t notes_at_most = 12;

    Seconds seen{0};                             // how far; 0: nothing is known
    FixedVector<NoteAhead, notes_at_most> notes; // the one that begins now first; empty: its next onset is not known
    bool next_repeats{false};                    // the onset that follows the last of them strikes a pitch of it again
    std::optional<Seconds> held;                 // until all its keys are up; empty: they stay down as far as is seen
    std::optional<Seconds> bow;                  // until no key is down: the bow of a slur goes on so long
};

inline const Ahead nothing_ahead;

} // namespace bowarm
