// Reads how a line is articulated from how its keys are held and struck: the family of the bow strokes it asks for.
//   in       every onset that joins no chord, and the notes before it (rhythm.hpp)
//   out      the family of the note that begins; it rests on the notes before and on what its own onset tells
//   method   Each family keeps a tally of how badly the notes have fitted it: half the squared distance, in a hand's own
//            unevenness, from the share of its time that such a note is held and from the loudness it is struck with.  A
//            change of articulation costs, so no tally falls further behind than that, and the present family's idea of a
//            note follows the line.  So one odd note changes nothing, and a line at the edge does not flicker.
//   source   staccato is held half its time, staccatissimo a quarter, portato three quarters (O. A. Lindquist, as printed
//            in The Etude); pianists hold staccato about 40 % and repeated notes about 60 % (R. Bresin & G. U. Battel,
//            J. New Music Research 29:211, 2000, abstract); marcato two thirds and accented, detache nine tenths: common
//            practice, no source
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "phrase/fast_repeats.hpp"
#include "phrase/rhythm.hpp"

#include <array>
#include <optional>

namespace bowarm
{

// What an onset tells by itself.
struct Onset {
    bool slurred{false};          // a key was still down
    bool repeats{false};          // a pitch that was in the note or chord before
    double velocity{64};          // 1..127
    std::optional<Loudness> hand; // of the loudness controller; empty: the velocities alone say how loud
};

class FamilyReader
{
public:
    // forte: from this loudness on a note counts as hard, whatever was before.
    explicit FamilyReader(Loudness forte) : forte_(forte) {}

    // The rhythm has heard this onset.
    Family read(const Onset& onset, const Rhythm& rhythm) noexcept;
    // The newest onset was no slur after all: read again.
    Family read_parted() noexcept;

private:
    static constexpr int told_by_length = 3; // separate, short, accented short
    static constexpr int unknown = -1;

    void hear_length(const PastNote& note, bool struck_again) noexcept;
    void hear_velocity() noexcept;
    double excess() const noexcept;
    void settle() noexcept;
    Family family() const noexcept;
    void start_again() noexcept;

    Loudness forte_;
    FastRepeats repeats_;
    Onset onset_;
    std::array<double, told_by_length> tally_{}; // 0: the best; the others below
    int present_{unknown};
    double own_share_{0}; // log2 of the share that the present family's notes are held, followed
    double hard_{0};      // velocity of the present accented notes, followed
    bool any_{false};
    double plain_{0};         // velocity of notes without accent, followed
    double plain_over_hand_{0}; // the same over the loudness controller
    Seconds expected_;        // of the note before, at its onset
};

} // namespace bowarm
