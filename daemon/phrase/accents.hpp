// How much harder a note is struck than the notes without accent around it.
//   Where a controller says how loud, fingers may go with it or keep to one touch; which they do is learned from how well either
//   foretells the velocities.  What counts as the touch without accent is followed once a note's length has said whether it
//   may have been an accent, so that a line which becomes louder is not full of accents.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

#include <optional>

namespace bowarm
{

struct Struck {
    double velocity{64};          // 1..127
    std::optional<Loudness> hand; // of the loudness controller; empty: the velocities alone say how loud
};

class Accents
{
public:
    // Velocity over what was to be expected of a note without accent; 0 for the first note.
    double over(const Struck& note) const noexcept;
    // share: of the way that what is expected moves towards this note.
    void follow(const Struck& note, double share) noexcept;

private:
    static double over_hand(const Struck& note);

    int heard_{0};                               // notes, as far as they count
    double alone_{0};                            // expected velocity
    double over_hand_{0};                        // the same over the loudness controller
    double wrong_alone_{0}, wrong_over_hand_{0}; // by how much each was wrong
};

} // namespace bowarm
